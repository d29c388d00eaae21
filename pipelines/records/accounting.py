"""What becomes of every row of a feed: record, superseded, duplicate or set aside.

Belongs here: which version of a row wins, over all files at once, and the counts. Does not belong
here: reading and typing single rows (`feed_file`), checks that look at other tables
(`cross_checks`).

The result is a function of the set of rows: neither the order of the files nor the batches in
which they were read can change it. Work on whole tables touches keys only; rows are compared in
full only where a key has several versions.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, replace

import polars as pl

from pipelines.records.cross_checks import (
    PLACE,
    RANK,
    References,
    claims_held_twice,
    no_placed_reasons,
    reference_failures,
    without_known,
)
from pipelines.records.feed_file import ParsedFile, seen_on
from pipelines.records.long_layout import KEY as LONG_KEY
from pipelines.records.long_layout import pivoted
from pipelines.records.reasons import REASON_SCHEMA, reasons
from schemas.codes import DESK_FILE
from schemas.columns import key_columns
from schemas.feeds import FEED_TABLES, record_schema
from schemas.polars_types import latest_day

# One row is one file, or one sheet of a workbook, as one mapping reads it; `place` is the number of
# the sheet in its workbook. One with `joined_as` is a file joined to others: no row of it is a
# record, and it dates nothing.
FILES = pl.Schema(
    {
        "file": pl.String(),
        "sheet": pl.String(),
        "mapping": pl.String(),
        "place": pl.Int64(),
        "named_date": pl.Date(),
        "header_line": pl.Int64(),
        "rows_read": pl.Int64(),
        "rows_split": pl.Int64(),
        "left_out": pl.Int64(),
        "joined_as": pl.String(),
        "joined": pl.Int64(),
        "duplicates": pl.Int64(),
    }
)
SET_ASIDE = pl.Schema({"file": pl.String, "sheet": pl.String, **REASON_SCHEMA})
_ACCOUNT_COLUMNS = ("file", "sheet", "mapping", "through_date", "header_line")
_PARTS = 2**12  # of a row; further ones are of one rank
_OF_FATE = {"file": "source_file", "sheet": "source_sheet", "line": "source_line"}
ENDS = ("records", "superseded", "duplicates", "set_aside", "left_out", "joined")


@dataclass(frozen=True)
class Accounted:
    """The state of a feed after all its files.

    Attributes:
        rows, order: the winning rows are `rows[order]`; see `records`.
        fates: `file`, `sheet`, `line`, `part`, `fate` of every row that was typed; rows that never
            were (and those of files set aside whole) are counted in `accounts` alone.
        set_aside: by `SET_ASIDE`, one row a reason.
        accounts: `file`, `sheet`, `mapping`, `through_date`, `header_line`, `rows_read`,
            `rows_split` and `ENDS`, one row a line of `FILES`.
        through_date: the latest of the files' through dates, not yet capped at any as-of date.
    """

    rows: pl.DataFrame
    order: pl.Series
    fates: pl.DataFrame
    set_aside: pl.DataFrame
    accounts: pl.DataFrame
    through_date: dt.date | None

    @property
    def records(self) -> pl.DataFrame:
        """By `schemas.feeds.record_schema`, one row a key, sorted by key."""
        return self.rows[self.order]

    def slices(self, rows: int) -> Iterator[pl.DataFrame]:
        """The records, so many rows at a time, so that they never stand in memory twice."""
        for start in range(0, len(self.order), rows):
            yield self.rows[self.order.slice(start, rows)]

    def summary(self) -> Accounted:
        """The same without rows and fates, which are large."""
        none = self.order.clear()
        return replace(self, rows=self.rows.clear(), order=none, fates=self.fates.clear())


def gather(
    parsed: dict[str, tuple[dt.date | None, ParsedFile]],
) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """Lays the files of one feed together for `account`.

    Args:
        parsed: by path below exports/, the date in the file's name and what it says.

    Returns:
        The rows with `source_file`, the files by `FILES`, and the reasons by `SET_ASIDE`.
    """
    rows, files, set_aside = [], [], []
    for path, (named_date, file) in parsed.items():
        rows.append(placed(file.rows.drop("raw"), path))
        reasons_told = pl.concat([file.set_aside, file.besides])
        at = {"file": pl.lit(path, pl.String), "sheet": pl.lit("")}
        set_aside.append(reasons_told.with_columns(**at).select(list(SET_ASIDE)))
        counts = (file.header_line, file.rows_read, file.rows_split, file.left_out.height)
        files.append((path, "", "", 0, named_date, *counts, "", file.joined, file.duplicates))
    return (
        pl.concat(rows, how="diagonal") if rows else pl.DataFrame(),
        pl.DataFrame(files, schema=FILES, orient="row"),
        pl.concat([pl.DataFrame(schema=SET_ASIDE), *set_aside]),
    )


def account(
    feed: str,
    rows: pl.DataFrame,
    files: pl.DataFrame,
    set_aside: pl.DataFrame,
    references: References,
) -> Accounted:
    """Decides the fate of every row.

    Args:
        feed: the feed.
        rows: the sound rows of all files by `feed_file.parsed_schema` (`raw` may be missing), with
            `source_file`.
        files: all files of the feed by `FILES`; `named_date` is the date in the file's name.
        set_aside: the reasons that parsing gave, and those besides, by `SET_ASIDE`.
        references: what models, products and causes there are.
    """
    rows = pl.DataFrame(schema=record_schema(feed)) if rows.is_empty() else rows
    rows = _with_places(rows)
    failures = reference_failures(feed, rows, references)
    passed = rows
    if failures.height:
        passed = rows.join(_places(failures), on=list(PLACE), how="anti", maintain_order="left")
    through = _through_dates(feed, passed, files)
    ranked = passed.with_columns(_rank(passed, through))
    is_long = "analyte" in rows.columns
    fates, held = _settle(feed, ranked, _keys(feed, is_long))
    if is_long:
        fates = _one_layout(ranked, fates)
    if held.height:  # no record tells how far its file goes once it is set aside
        through = _through_dates(feed, passed.filter(fates != "set_aside"), files)
    set_aside = without_known(feed, set_aside, references)
    all_reasons = pl.concat(
        [set_aside, *(one.select(set_aside.columns) for one in (failures, held))]
    )
    all_reasons = all_reasons.sort("file", "sheet", "line", "column", "rule")
    all_fates = pl.concat(
        [
            ranked.select(**_OF_FATE, part="source_part").with_columns(fate=fates),
            _places(failures).select(**_OF_FATE, part="source_part", fate=pl.lit("set_aside")),
        ]
    )
    return Accounted(
        *_records(feed, ranked, fates == "record", key_columns(FEED_TABLES[feed]), is_long),
        all_fates,
        all_reasons,
        _accounts(files, through, all_fates),
        latest_day(through["through_date"]),
    )


def placed(rows: pl.DataFrame, file: str, sheet: str = "") -> pl.DataFrame:
    """Parsed rows with the file and the sheet that they come from."""
    return rows.with_columns(source_file=pl.lit(file), source_sheet=pl.lit(sheet))


def _with_places(rows: pl.DataFrame) -> pl.DataFrame:
    """Rows of a file that splits none are the first part, those of a text file of no sheet."""
    first = {"source_sheet": pl.lit(""), "source_part": pl.lit(1, pl.Int64)}
    return rows.with_columns(
        value if name not in rows.columns else pl.col(name).fill_null(value)
        for name, value in ((name, value.alias(name)) for name, value in first.items())
    )


def _keys(feed: str, is_long: bool) -> list[str]:
    return list(LONG_KEY) if is_long else key_columns(FEED_TABLES[feed])


def _places(reasons: pl.DataFrame) -> pl.DataFrame:
    parts = {name: name.removeprefix("source_") for name in PLACE}
    return reasons.select(**parts).unique()


def _through_dates(feed: str, rows: pl.DataFrame, files: pl.DataFrame) -> pl.DataFrame:
    """The day up to which each file is complete: the one in its name, else the latest seen."""
    seen = rows.group_by("source_file").agg(latest=seen_on(feed).max())
    # Nor does one row that a person typed say how far a feed is complete.
    tells = (pl.col("joined_as") == "") & (pl.col("file") != DESK_FILE)
    day = pl.when(tells).then(pl.coalesce("named_date", "latest"))
    return files.join(
        seen, left_on="file", right_on="source_file", how="left", maintain_order="left"
    ).select("file", "sheet", "place", "joined_as", through_date=day)


def _rank(rows: pl.DataFrame, through: pl.DataFrame) -> pl.Series:
    """The rank of every row among the versions of its key; the greatest wins."""
    ranks = (
        through.filter(pl.col("joined_as") == "")
        .sort(
            pl.col("file") != DESK_FILE,  # any export says more than what a person typed
            "through_date",
            pl.col("file").str.split("/").list.last(),
            "file",
            "place",
            nulls_last=False,
        )
        .with_row_index("rank")
    )
    if len(ranks.filter(pl.col("sheet") != "")):
        names = pl.concat_str("source_file", "source_sheet", separator="\0")
        of_file = pl.concat_str("file", "sheet", separator="\0")
        here, known = rows.select(names).to_series(), ranks.select(of_file).to_series()
    else:  # the names of sheets are not worth a thought where there are none
        here, known = rows["source_file"], ranks["file"]
    rank = here.replace_strict(known, ranks["rank"], return_dtype=pl.Int64, default=None)
    place = rows["source_line"] * _PARTS + (rows["source_part"] - 1)
    return (rank * 2**43 + place).alias(RANK)


def _settle(feed: str, ranked: pl.DataFrame, key: list[str]) -> tuple[pl.Series, pl.DataFrame]:
    """The fate of every row, and the reasons of claim numbers that are held twice.

    A row set aside beats nothing, so an older version of its key comes back, which may hold a
    claim number itself: rounds, until no winner loses its claim. A claim that is held once stays
    held, by ever earlier calls, so the rounds end and their result does not depend on any order.
    """
    versions = ranked.select(*key, RANK)
    left = pl.repeat(True, ranked.height, dtype=pl.Boolean, eager=True)
    winners = _winners(versions, key, left)
    held = [no_placed_reasons()]
    while feed == "service_calls":
        twice = claims_held_twice(ranked, winners)
        if twice.is_empty():
            break
        held.append(reasons(twice, "claim", "claim", "claim_once"))
        left = left & ~versions[RANK].is_in(twice[RANK].implode())
        winners = _winners(versions, key, left)
    return _fates(ranked, key, left, winners), pl.concat(held)


def _winners(versions: pl.DataFrame, key: list[str], left: pl.Series) -> pl.Series:
    """Which rows are the last version of their key, among those that are left."""
    ranked = versions.select(*key, pl.when(left).then(pl.col(RANK)).alias(RANK))
    last = pl.col(RANK) == pl.col(RANK).max().over(key)
    return ranked.select(last.fill_null(False)).to_series()


def _fates(ranked: pl.DataFrame, key: list[str], left: pl.Series, winners: pl.Series) -> pl.Series:
    """Record, duplicate (a later row that is left says the same) or superseded."""
    fate = pl.select(
        pl.when(~left)
        .then(pl.lit("set_aside"))
        .when(winners)
        .then(pl.lit("record"))
        .otherwise(pl.lit("superseded"))
    ).to_series()
    beaten = left & ~winners
    if not beaten.any():
        return fate
    several = (
        ranked.select(key)
        .with_row_index("_row")
        .filter(left)
        .join(
            ranked.select(key).filter(beaten).unique(),
            on=key,
            how="semi",
            nulls_equal=True,
            maintain_order="left",
        )
    )
    contested = ranked[several["_row"]].with_columns(several["_row"])
    said = contested.drop("_row", RANK, *PLACE, "raw", strict=False).hash_rows()
    same = contested.select("_row", RANK, *key).with_columns(_said=said)
    again = pl.col(RANK) < pl.col(RANK).max().over(*key, "_said")
    return fate.scatter(same.filter(again)["_row"], "duplicate")


def _one_layout(ranked: pl.DataFrame, fates: pl.Series) -> pl.Series:
    """A sample told in both layouts is that of the later row; the other rows are superseded."""
    is_wide = pl.col("analyte").is_null()
    won = ranked.select("sample", "analyte", RANK).filter(fates == "record")
    last = won.group_by("sample").agg(
        wide=pl.col(RANK).filter(is_wide).max(), long=pl.col(RANK).filter(~is_wide).max()
    )
    both = last.filter(pl.col("wide").is_not_null() & pl.col("long").is_not_null())
    if both.is_empty():
        return fates
    lost = both.select("sample", lost_wide=pl.col("wide") < pl.col("long"))
    layouts = ranked.select("sample", is_wide.alias("is_wide")).join(
        lost, on="sample", how="left", maintain_order="left"
    )
    beaten = (layouts["is_wide"] == layouts["lost_wide"]).fill_null(False) & (fates == "record")
    return pl.select(
        pl.when(beaten).then(pl.lit("superseded")).otherwise(fates).alias("fate")
    ).to_series()


def _records(
    feed: str, ranked: pl.DataFrame, won: pl.Series, key: list[str], is_long: bool
) -> tuple[pl.DataFrame, pl.Series]:
    """Rows, and the places of the winners among them by key."""
    if is_long:
        results = pl.col("analyte").is_not_null()
        names = record_schema(feed).names()
        of_samples = ranked.filter(won).filter(~results)
        if of_samples.height:
            of_samples = of_samples.with_columns(
                pl.lit(None, kind).alias(name)
                for name, kind in record_schema(feed).items()
                if name not in of_samples.columns
            )
        else:
            of_samples = pl.DataFrame(schema=record_schema(feed))
        wide = pl.concat([pivoted(ranked.filter(won).filter(results)), of_samples.select(names)])
        wide = wide.sort("sample")
        return wide, pl.int_range(wide.height, dtype=pl.UInt32, eager=True)
    places = ranked.select(key).with_row_index("_row")
    if not won.all():
        places = places.filter(won)
    if len(key) > 1 or not places[key[0]].is_sorted():
        places = places.sort(key)
    return ranked.select(record_schema(feed).names()), places["_row"]


def _accounts(files: pl.DataFrame, through: pl.DataFrame, fates: pl.DataFrame) -> pl.DataFrame:
    """The counts of every file; all rows that are not typed were set aside."""
    counts = fates.group_by("file", "sheet").agg(
        (pl.col("fate") == fate).sum().cast(pl.Int64).alias(name)
        for fate, name in (
            ("record", "records"),
            ("superseded", "superseded"),
            ("duplicate", "duplicates"),
        )
    )
    names = ["records", "superseded", "duplicates"]
    return (
        files.rename({"duplicates": "copies"})
        .with_columns(through["through_date"])
        .join(
            counts.with_columns(joined_as=pl.lit("")), on=["file", "sheet", "joined_as"], how="left"
        )
        .with_columns(pl.col(names).fill_null(0))
        .with_columns(pl.col("duplicates") + pl.col("copies"))
        .with_columns(
            set_aside=pl.col("rows_read")
            + pl.col("rows_split")
            - pl.sum_horizontal(*names, "left_out", "joined")
        )
        .select(*_ACCOUNT_COLUMNS, "rows_read", "rows_split", *ENDS)
        .sort("file", "sheet", "mapping")
    )
