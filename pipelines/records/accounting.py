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
    RANK,
    References,
    claims_held_twice,
    reference_failures,
    without_known,
)
from pipelines.records.feed_file import ParsedFile, seen_on
from pipelines.records.long_layout import KEY as LONG_KEY
from pipelines.records.long_layout import pivoted
from pipelines.records.reasons import REASON_SCHEMA, reasons
from schemas.columns import key_columns
from schemas.feeds import FEED_TABLES, record_schema

FILES = pl.Schema({"file": pl.String(), "named_date": pl.Date(), "rows_read": pl.Int64()})
SET_ASIDE = pl.Schema({"file": pl.String, **REASON_SCHEMA})
_PLACE = ("source_file", "source_line")


@dataclass(frozen=True)
class Accounted:
    """The state of a feed after all its files.

    Attributes:
        rows, order: the winning rows are `rows[order]`; see `records`.
        fates: `file`, `line`, `fate` of every row that was typed; rows that never were (and those
            of files set aside whole) are counted in `accounts` alone.
        set_aside: `file`, `line`, `column`, `value`, `rule`, `reason`, one row a reason.
        accounts: `file`, `through_date`, `rows_read`, `records`, `superseded`, `duplicates`,
            `set_aside`, one row a file.
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
    rows, files, told = [], [], []
    for path, (named, file) in parsed.items():
        at = pl.lit(path, pl.String)
        rows.append(file.rows.drop("raw").with_columns(source_file=at))
        reasons_told = pl.concat([file.set_aside, file.besides])
        told.append(reasons_told.select(at.alias("file"), *REASON_SCHEMA))
        files.append((path, named, file.rows_read))
    return (
        pl.concat(rows) if rows else pl.DataFrame(),
        pl.DataFrame(files, schema=FILES, orient="row"),
        pl.concat([pl.DataFrame(schema=SET_ASIDE), *told]),
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
    if rows.is_empty():
        rows = pl.DataFrame(schema=record_schema(feed))
    failures = reference_failures(feed, rows, references)
    passed = rows
    if failures.height:
        passed = rows.join(_places(failures), on=_PLACE, how="anti", maintain_order="left")
    through = _through_dates(feed, passed, files)
    ranked = passed.with_columns(_rank(passed, through))
    is_long = "analyte" in rows.columns
    key = list(LONG_KEY) if is_long else key_columns(FEED_TABLES[feed])
    fates, held = _settle(feed, ranked, key)
    if held.height:  # no record tells how far its file goes once it is set aside
        through = _through_dates(feed, passed.filter(fates != "set_aside"), files)
    set_aside = without_known(feed, set_aside, references)
    told = pl.concat([set_aside, failures, held]).sort("file", "line", "column", "rule")
    all_fates = pl.concat(
        [
            ranked.select(file="source_file", line="source_line").with_columns(fate=fates),
            _places(failures).select(
                file="source_file", line="source_line", fate=pl.lit("set_aside")
            ),
        ]
    )
    return Accounted(
        *_records(feed, ranked, fates == "record", key, is_long),
        all_fates,
        told,
        _accounts(files, through, all_fates),
        through["through_date"].max(),  # type: ignore[arg-type]
    )


def _places(reasons: pl.DataFrame) -> pl.DataFrame:
    return reasons.select(source_file="file", source_line="line").unique()


def _through_dates(feed: str, rows: pl.DataFrame, files: pl.DataFrame) -> pl.DataFrame:
    """The day up to which each file is complete: the one in its name, else the latest seen."""
    seen = rows.group_by("source_file").agg(latest=seen_on(feed).max())
    return files.join(seen, left_on="file", right_on="source_file", how="left").select(
        "file", through_date=pl.coalesce("named_date", "latest")
    )


def _rank(rows: pl.DataFrame, through: pl.DataFrame) -> pl.Series:
    """The rank of every row among the versions of its key; the greatest wins."""
    ranks = through.sort(
        "through_date",
        pl.col("file").str.split("/").list.last(),
        "file",
        nulls_last=False,
    ).with_row_index("rank")
    rank = rows["source_file"].replace_strict(
        ranks["file"], ranks["rank"], return_dtype=pl.Int64, default=None
    )
    return ((rank * 2**40) + rows["source_line"]).alias(RANK)


def _settle(feed: str, ranked: pl.DataFrame, key: list[str]) -> tuple[pl.Series, pl.DataFrame]:
    """The fate of every row, and the reasons of claim numbers that are held twice.

    A row set aside beats nothing, so an older version of its key comes back, which may hold a
    claim number itself: rounds, until no winner loses its claim. A claim that is held once stays
    held, by ever earlier calls, so the rounds end and their result does not depend on any order.
    """
    versions = ranked.select(*key, RANK)
    left = pl.repeat(True, ranked.height, dtype=pl.Boolean, eager=True)
    winners = _winners(versions, key, left)
    held = [pl.DataFrame(schema=SET_ASIDE)]
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
    said = contested.drop("_row", RANK, *_PLACE, "raw", strict=False).hash_rows()
    same = contested.select("_row", RANK, *key).with_columns(_said=said)
    again = pl.col(RANK) < pl.col(RANK).max().over(*key, "_said")
    return fate.scatter(same.filter(again)["_row"], "duplicate")


def _records(
    feed: str, ranked: pl.DataFrame, won: pl.Series, key: list[str], is_long: bool
) -> tuple[pl.DataFrame, pl.Series]:
    """Rows, and the places of the winners among them by key."""
    if is_long:
        wide = pivoted(ranked.filter(won)).sort("sample")
        return wide, pl.int_range(wide.height, dtype=pl.UInt32, eager=True)
    places = ranked.select(key).with_row_index("_row")
    if not won.all():
        places = places.filter(won)
    if len(key) > 1 or not places[key[0]].is_sorted():
        places = places.sort(key)
    return ranked.select(record_schema(feed).names()), places["_row"]


def _accounts(files: pl.DataFrame, through: pl.DataFrame, fates: pl.DataFrame) -> pl.DataFrame:
    """The counts of every file; all rows that are not typed were set aside."""
    counts = fates.group_by("file").agg(
        (pl.col("fate") == fate).sum().cast(pl.Int64).alias(name)
        for fate, name in (
            ("record", "records"),
            ("superseded", "superseded"),
            ("duplicate", "duplicates"),
        )
    )
    names = ["records", "superseded", "duplicates"]
    return (
        files.join(through, on="file", how="left")
        .join(counts, on="file", how="left")
        .with_columns(pl.col(names).fill_null(0))
        .with_columns(set_aside=pl.col("rows_read") - pl.sum_horizontal(names))
        .select("file", "through_date", "rows_read", *names, "set_aside")
        .sort("file")
    )
