"""The rows of one feed with what people recorded since the last refresh, as the next reads them.

Belongs here: settling again the few keys that it bears on. Does not belong here: typing or
accounting rows (`pipelines.records`), deciding (`pipelines.queries.deciding_now`).

The exports are as they were, so a row can have changed only where a person entered or withdrew
one, or where a correction of its content came or went. The rows of those keys, and of the claims
that they name, are settled by the same code as the refresh's.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import duckdb
import polars as pl

from pipelines.events.recorded import DeskRecord
from pipelines.queries.corrected_places import PLACE, RECORDED, known_lines, places_of
from pipelines.queries.slices import files_of, parsed_rows, rows_at, slice_of
from pipelines.records.accounting import account
from pipelines.records.corrections import Correction, typed_texts
from pipelines.records.cross_checks import References
from pipelines.records.long_corrections import ANALYTE, as_results
from pipelines.records.settling import SET_ASIDE
from pipelines.steps.ingest import stored_schema
from pipelines.store.database import has_table
from pipelines.store.inputs import Inputs
from schemas.codes import DESK_FILE
from schemas.polars_types import latest_day


@dataclass(frozen=True)
class RowsNow:
    """What differs of a feed from the last refresh.

    keys: the keys that were settled again; records: theirs now; set_aside: why rows put in are
    not used (`accounting.SET_ASIDE`); fates: what became of each row; sound: key and place of each.
    through: the day up to which the feed is complete, before it is capped at any day.
    """

    keys: pl.DataFrame
    records: pl.DataFrame
    set_aside: pl.DataFrame
    fates: pl.DataFrame
    sound: pl.DataFrame
    through: dt.date | None

    def same_key(self, file: str, line: int) -> list[tuple[str, int]]:
        """Where other rows of the key stand that are used or were, the one that is used first."""
        place = (pl.col("source_file") == file) & (pl.col("source_line") == line)
        others = self.sound.filter(~place).join(
            self.sound.filter(place).select(self.keys.columns), on=self.keys.columns, how="semi"
        )
        used_fates = self.fates.filter(pl.col("fate") != "set_aside").sort(
            pl.col("fate") != "record"
        )
        other_places = used_fates.join(
            others,
            left_on=["file", "line"],
            right_on=["source_file", "source_line"],
            how="semi",
            maintain_order="left",
        )
        return list(other_places.select("file", "line").iter_rows())


def rows_now(con: duckdb.DuckDBPyConnection, inputs: Inputs, feed: str) -> RowsNow | None:
    """What people recorded of a feed since; None where nothing.

    Args:
        con: the store, to read.
        inputs: the inputs, with what was recorded up to now.
    """
    recorded = inputs.recorded
    wanted = dict(recorded.rows(feed))
    known = known_lines(con, feed)
    fresh = [(line, wanted[line]) for line in sorted(set(wanted) - known)]
    gone = known - set(wanted)
    corrections = _touched_corrections(con, recorded, feed)
    if not (fresh or gone or corrections):
        return None
    removed, added, reasons = _changed_rows(con, inputs, feed, fresh, gone, corrections)
    slice_rows, keys = slice_of(con, feed, removed, added)
    files = files_of(con, feed, removed, added)
    reference = inputs.reference
    settled = account(
        feed,
        slice_rows,
        files,
        reasons,
        References.of(reference.models, reference.treatments, reference.causes),
    )
    through = latest_day(files.filter(pl.col("file") != DESK_FILE)["named_date"])
    sound = slice_rows.select(*keys.columns, "source_file", "source_line")
    return RowsNow(keys, settled.records, settled.set_aside, settled.fates, sound, through)


def _touched_corrections(
    con: duckdb.DuckDBPyConnection, recorded: DeskRecord, feed: str
) -> list[Correction]:
    """The corrections that the last refresh had not put in, or that are withdrawn since."""
    applied = set()
    if has_table(con, RECORDED):
        rows = con.execute(
            f"select distinct correction from {RECORDED} where feed = ?", [feed]
        ).fetchall()
        applied = {event for (event,) in rows}
    of_feed = [one for one in recorded.made if one.correction.feed == feed]
    return [one.correction for one in of_feed if (one.withdrawn is None) != (one.event in applied)]


def _changed_rows(
    con: duckdb.DuckDBPyConnection,
    inputs: Inputs,
    feed: str,
    fresh: list[tuple[int, Mapping[str, str]]],
    gone: set[int],
    corrections: list[Correction],
) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """The typed rows that are no more, those in their stead, and why the others are set aside."""
    removed = [
        parsed_rows(
            con,
            feed,
            "source_file = ? and source_line in (select unnest(?))",
            [DESK_FILE, sorted(gone)],
        )
    ]
    in_force = inputs.recorded.corrections(feed)
    added: list[pl.DataFrame] = []
    all_reasons: list[pl.DataFrame] = [pl.DataFrame(schema=SET_ASIDE)]
    seen: list[dict[str, str]] = []
    for one in corrections:
        content = dict(one.content)
        if content in seen:
            continue
        seen.append(content)
        mine = [other for other in in_force if dict(other.content) == content]
        all_of_it = [
            made.event
            for made in inputs.recorded.made
            if made.correction.feed == feed and dict(made.correction.content) == content
        ]
        places = places_of(con, inputs, feed, one, all_of_it)
        removed.append(rows_at(con, feed, places))
        rows, reasons = _rewritten(feed, one, mine, places, inputs.settings.timezone)
        added.append(rows)
        all_reasons.append(reasons)
    rows, reasons = _entered(feed, fresh, in_force, inputs.settings.timezone)
    schema = stored_schema(feed)
    return (
        pl.concat(removed).unique(maintain_order=True),
        pl.concat([schema.to_frame(), *added, rows]),
        pl.concat([*all_reasons, reasons]),
    )


def _entered(
    feed: str,
    fresh: list[tuple[int, Mapping[str, str]]],
    corrections: list[Correction],
    timezone: str,
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Rows that people entered, corrected where they were corrected since."""
    from pipelines.records.feed_file import parse_written

    parsed = parse_written(feed, fresh, timezone, corrections)
    place = {"source_file": pl.lit(DESK_FILE), "source_sheet": pl.lit("")}
    at = {"file": pl.lit(DESK_FILE), "sheet": pl.lit("")}
    rows = _as_stored(feed, parsed.rows.with_columns(**place))
    return rows, parsed.set_aside.with_columns(**at).select(list(SET_ASIDE))


def _rewritten(
    feed: str,
    original: Correction,
    mine: list[Correction],
    places: pl.DataFrame,
    timezone: str,
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The rows of one content with the corrections in force, at each place where it stands."""
    values = dict(original.content)
    for one in mine:
        values |= one.values
    unsound = set(original.unsound) - {name for one in mine for name in one.values}
    if unsound or places.is_empty():
        return stored_schema(feed).to_frame(), pl.DataFrame(schema=SET_ASIDE)
    rows, reasons = typed_texts(feed, [(0, {n: t for n, t in values.items() if t})], timezone)
    if reasons.height:
        at_each = places.select(file="source_file", sheet="source_sheet", line="source_line")
        set_aside = at_each.unique(maintain_order=True).join(reasons.drop("line"), how="cross")
        return stored_schema(feed).to_frame(), set_aside.select(list(SET_ASIDE)).cast(
            pl.Schema(SET_ASIDE)
        )
    if ANALYTE in original.content:
        rows = as_results(rows, {0: original.content[ANALYTE]})
    at_each = places.join(rows.drop("source_line", *PLACE, strict=False), how="cross")
    return _as_stored(feed, at_each), pl.DataFrame(schema=SET_ASIDE)


def _as_stored(feed: str, rows: pl.DataFrame) -> pl.DataFrame:
    """Typed rows by the columns of `parsed_<feed>`."""
    schema = stored_schema(feed)
    first = {"source_part": pl.lit(1, pl.Int64)}
    lacking = {name: kind for name, kind in schema.items() if name not in rows.columns}
    return (
        rows.with_columns(
            first.get(name, pl.lit(None, kind)).alias(name) for name, kind in lacking.items()
        )
        .select(schema.names())
        .cast(schema)
    )
