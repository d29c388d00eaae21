"""Which version of a row wins: record, superseded, duplicate or set aside.

Belongs here: the fates of rows among which all of their keys are whole. Does not belong here: the
accounts of files (`accounting`), reading and typing single rows (`feed_file`), checks that look at
other tables (`cross_checks`).

The result is a function of the set of rows: neither the order of the files nor the batches in
which they were read can change it. Work on whole tables touches keys only; rows are compared in
full only where a key has several versions.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipelines.records.cross_checks import (
    PLACE,
    RANK,
    References,
    claims_held_twice,
    looked_up,
    no_placed_reasons,
    reference_failures,
)
from pipelines.records.feed_file import seen_on
from pipelines.records.long_layout import KEY as LONG_KEY
from pipelines.records.long_layout import one_layout, pivoted
from pipelines.records.reasons import REASON_SCHEMA, reasons
from pipelines.records.through_dates import rank_of
from schemas.columns import key_columns
from schemas.feeds import FEED_TABLES, SEEN_BY, record_schema

SET_ASIDE = pl.Schema({"file": pl.String, "sheet": pl.String, **REASON_SCHEMA})
COUNTED = ("records", "superseded", "duplicates")  # of fates
_OF_FATE = {"file": "source_file", "sheet": "source_sheet", "line": "source_line"}


@dataclass(frozen=True)
class Ends:
    """What the accounts of files need of rows that were settled.

    Attributes:
        reasons: by `SET_ASIDE`, of the rows that were set aside here.
        seen: source_file, latest: the latest day by which a row that is not set aside is seen.
        counts: file, sheet, records, superseded, duplicates.
    """

    reasons: pl.DataFrame
    seen: pl.DataFrame
    counts: pl.DataFrame


@dataclass(frozen=True)
class SettledRows:
    """Rows of a feed, all keys among them whole, with what became of each.

    `rows`, `order` and `fates` are as `accounting.Accounted` has them.
    """

    rows: pl.DataFrame
    order: pl.Series
    fates: pl.DataFrame
    ends: Ends

    @property
    def records(self) -> pl.DataFrame:
        """By `schemas.feeds.record_schema`, one row a key, sorted by key."""
        return self.rows[self.order]


def latest_seen(feed: str, rows: pl.DataFrame, references: References) -> pl.DataFrame:
    """source_file, latest: the latest day by which a row of each file is seen, those left out that
    the reference files set aside.

    Args:
        rows: as `accounting.account` takes them; the columns `looked_at(feed)` do.
    """
    return _latest(feed, _passed(feed, _with_places(_or_none(feed, rows)), references)[0])


def looked_at(feed: str) -> list[str]:
    """The columns of rows that `latest_seen` looks at."""
    return list(dict.fromkeys([*PLACE, *SEEN_BY[feed], *looked_up(feed)]))


def settled_rows(
    feed: str, rows: pl.DataFrame, references: References, through: pl.DataFrame
) -> SettledRows:
    """Decides the fate of rows among which all of their keys are whole.

    Args:
        rows: as `accounting.account` takes them. All versions of a key are among them, and of
            service calls also all calls that share a claim number.
        through: of `through_dates`, over all rows of the feed.
    """
    passed, failures = _passed(feed, _with_places(_or_none(feed, rows)), references)
    is_long = "analyte" in passed.columns
    ranked = passed.with_columns(rank_of(passed, through))
    fates, held = _settle(feed, ranked, _keys(feed, is_long))
    if is_long:
        fates = one_layout(ranked, fates)
    all_fates = pl.concat(
        [
            ranked.select(**_OF_FATE, part="source_part").with_columns(fate=fates),
            _places(failures).select(**_OF_FATE, part="source_part", fate=pl.lit("set_aside")),
        ]
    )
    return SettledRows(
        *_records(feed, ranked, fates == "record", key_columns(FEED_TABLES[feed]), is_long),
        all_fates,
        Ends(
            pl.concat([failures.select(list(SET_ASIDE)), held.select(list(SET_ASIDE))]),
            # No record tells how far its file goes once it is set aside.
            _latest(feed, passed.filter(fates != "set_aside") if held.height else passed),
            _counts(all_fates),
        ),
    )


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


def _or_none(feed: str, rows: pl.DataFrame) -> pl.DataFrame:
    return pl.DataFrame(schema=record_schema(feed)) if rows.is_empty() else rows


def _passed(
    feed: str, rows: pl.DataFrame, references: References
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The rows that the reference files let pass, and the reasons of the others."""
    failures = reference_failures(feed, rows, references)
    if failures.height:
        rows = rows.join(_places(failures), on=list(PLACE), how="anti", maintain_order="left")
    return rows, failures


def _latest(feed: str, rows: pl.DataFrame) -> pl.DataFrame:
    return rows.group_by("source_file").agg(latest=seen_on(feed).max())


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


def _counts(fates: pl.DataFrame) -> pl.DataFrame:
    """file, sheet, and how many rows of each became what."""
    return fates.group_by("file", "sheet").agg(
        (pl.col("fate") == fate).sum().cast(pl.Int64).alias(name)
        for name, fate in zip(COUNTED, ("record", "superseded", "duplicate"), strict=True)
    )
