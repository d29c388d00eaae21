"""What becomes of every row of a feed over all its files, and the counts of each file.

Belongs here: the accounts and how far a file is complete. Does not belong here: which version of a
row wins (`settling`), reading and typing single rows (`feed_file`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from pipelines.records.cross_checks import References, without_known
from pipelines.records.feed_file import ParsedFile
from pipelines.records.settling import (
    COUNTED,
    SET_ASIDE,
    Ends,
    latest_seen,
    settled_rows,
)
from pipelines.records.through_dates import latest_of, through_dates
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
_ACCOUNT_COLUMNS = ("file", "sheet", "mapping", "through_date", "header_line")
ENDS = (*COUNTED, "set_aside", "left_out", "joined")


@dataclass(frozen=True)
class Accounts:
    """What is told of a feed's files.

    Attributes:
        set_aside: by `SET_ASIDE`, one row a reason.
        accounts: `file`, `sheet`, `mapping`, `through_date`, `header_line`, `rows_read`,
            `rows_split` and `ENDS`, one row a line of `FILES`.
        through_date: the latest of the files' through dates, not yet capped at any as-of date.
    """

    set_aside: pl.DataFrame
    accounts: pl.DataFrame
    through_date: dt.date | None


@dataclass(frozen=True)
class Accounted(Accounts):
    """The state of a feed after all its files.

    Attributes:
        rows, order: the winning rows are `rows[order]`; see `records`.
        fates: `file`, `sheet`, `line`, `part`, `fate` of every row that was typed; rows that never
            were (and those of files set aside whole) are counted in `accounts` alone.
    """

    rows: pl.DataFrame
    order: pl.Series
    fates: pl.DataFrame

    @property
    def records(self) -> pl.DataFrame:
        """By `schemas.feeds.record_schema`, one row a key, sorted by key."""
        return self.rows[self.order]


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
    through = through_dates(files, latest_seen(feed, rows, references))
    settled = settled_rows(feed, rows, references, through)
    whole = accounts_of(feed, files, set_aside, references, [settled.ends])
    return Accounted(
        whole.set_aside,
        whole.accounts,
        whole.through_date,
        settled.rows,
        settled.order,
        settled.fates,
    )


def accounts_of(
    feed: str,
    files: pl.DataFrame,
    set_aside: pl.DataFrame,
    references: References,
    parts: Sequence[Ends],
) -> Accounts:
    """The accounts of a feed whose rows were settled in parts, at least one.

    Args:
        feed, files, set_aside, references: as `account` takes them.
    """
    through = through_dates(files, latest_of([part.seen for part in parts]))
    counts = pl.concat([part.counts for part in parts])
    counts = counts.group_by("file", "sheet").agg(pl.col(COUNTED).sum())
    known = without_known(feed, set_aside, references)
    all_reasons = pl.concat([known, *(part.reasons.select(known.columns) for part in parts)])
    return Accounts(
        all_reasons.sort("file", "sheet", "line", "column", "rule"),
        _accounts(files, through, counts),
        latest_day(through["through_date"]),
    )


def placed(rows: pl.DataFrame, file: str, sheet: str = "") -> pl.DataFrame:
    """Parsed rows with the file and the sheet that they come from."""
    return rows.with_columns(source_file=pl.lit(file), source_sheet=pl.lit(sheet))


def _accounts(files: pl.DataFrame, through: pl.DataFrame, counts: pl.DataFrame) -> pl.DataFrame:
    """The counts of every file; all rows that are not typed were set aside."""
    return (
        files.rename({"duplicates": "copies"})
        .with_columns(through["through_date"])
        .join(
            counts.with_columns(joined_as=pl.lit("")), on=["file", "sheet", "joined_as"], how="left"
        )
        .with_columns(pl.col(COUNTED).fill_null(0))
        .with_columns(pl.col("duplicates") + pl.col("copies"))
        .with_columns(
            set_aside=pl.col("rows_read")
            + pl.col("rows_split")
            - pl.sum_horizontal(*COUNTED, "left_out", "joined")
        )
        .select(*_ACCOUNT_COLUMNS, "rows_read", "rows_split", *ENDS)
        .sort("file", "sheet", "mapping")
    )
