"""Keys of rows that are joined, and what is told of rows that find nothing.

Belongs here: what both kinds of joins have in common, as columns. Does not belong here: one row for
a row (`join_matches`), sums and firsts (`join_sums`), all files of a mapping (`joining`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import ClassVar

import polars as pl

from pipelines.exports.reading import FAULTS, Reading
from pipelines.records.entries import OF_JOIN
from pipelines.records.globs import any_of, text_pattern
from pipelines.records.join_entries import Join, Made
from pipelines.records.left_out import LEFT_OUT
from pipelines.records.mapping import Mapping
from pipelines.records.reasons import REASON_SCHEMA, shown_text
from pipelines.records.row_cells import Place, cell
from pipelines.records.steps import changed, trimmed

SOURCE, LINE = "\0source", "line"
OF_CELL = "= "  # before the header of a cell, so that no header is like a name of ours
_BETWEEN = "\0"  # of the parts of a key; no cell holds a NUL
_LEFT_OUT = pl.Schema([(SOURCE, pl.UInt32), *LEFT_OUT.items()])
_ROWS = pl.Schema({SOURCE: pl.UInt32, LINE: pl.Int64, "rank": pl.Int8})
_REASONS = pl.Schema({SOURCE: pl.UInt32, **REASON_SCHEMA})
_FAILURES = pl.Schema([*FAULTS.items(), (SOURCE, pl.UInt32)])


@dataclass(frozen=True)
class Ends:
    """What became of the rows of a join's files; `SOURCE` is a file's number among them.

    `rows` has the rank of each row that was read and not left out: JOINED, DUPLICATE or SET_ASIDE;
    `reasons` those of the last; `left_out` the number of the join's entry, and its reason.
    """

    JOINED: ClassVar[int] = 0
    DUPLICATE: ClassVar[int] = 1
    SET_ASIDE: ClassVar[int] = 2
    LEFT_OUT: ClassVar[int] = 3

    rows: pl.DataFrame
    reasons: pl.DataFrame
    left_out: pl.DataFrame = field(default_factory=_LEFT_OUT.to_frame)

    @staticmethod
    def none_left_out() -> pl.DataFrame:
        """No row."""
        return _LEFT_OUT.to_frame()


@dataclass(frozen=True)
class JoinMatches:
    """What rows find in a join.

    `values` are columns beside the rows, null where they find nothing; `failures` the reasons of
    rows that are set aside for it, by `FAULTS` with `SOURCE`.
    """

    values: pl.DataFrame
    failures: pl.DataFrame
    ends: Ends


def no_failures() -> pl.DataFrame:
    """No reason for which a row is set aside."""
    return _FAILURES.to_frame()


def key_of(cells: Sequence[pl.Expr], join: Join) -> pl.Expr:
    """By what rows are found: cells after the join's steps, in lower case; null if one is empty."""
    parts = [
        trimmed(changed(trimmed(text), join.on_steps, join.marks)).str.to_lowercase()
        for text in cells
    ]
    return parts[0] if len(parts) == 1 else pl.concat_str(parts, separator=_BETWEEN)


def keyed(
    join: Join, number: int, reading: Reading, place: Place, wanted: Sequence[str]
) -> pl.DataFrame:
    """The rows of one joined file: SOURCE, LINE, `key`, `shown` and what the join looks at.

    `shown` is the key as people see it. Of a join that makes headers `cell n` is the cell of each,
    and `takes n` whether its `where` fits; of others those of `wanted` stand behind `OF_CELL`.
    """

    def at(name: str) -> pl.Expr:
        cell_text = cell(name, reading.header, place)
        return pl.lit("") if cell_text is None else cell_text

    keys = [at(right) for _, right in join.on]
    columns = {"key": key_of(keys, join), "shown": pl.concat_str(keys, separator=" + ")}
    if join.made:
        for n, one in enumerate(join.made):
            columns[f"takes {n}"] = _fits(one, at)
            columns[f"cell {n}"] = at(one.header)
    else:
        columns |= {OF_CELL + name: at(name) for name in wanted}
    return reading.rows.select(
        pl.lit(number, pl.UInt32).alias(SOURCE),
        LINE,
        *(text.alias(name) for name, text in columns.items()),
    )


def _fits(one: Made, at: Callable[[str], pl.Expr]) -> pl.Expr:
    tests = [
        at(header).fill_null("").str.contains(any_of(map(text_pattern, cells)))
        for header, cells in one.where
    ]
    return pl.all_horizontal([pl.lit(True), *tests])


def is_found(rows: pl.DataFrame) -> pl.Expr:
    """Whether a joined row is found by one of the rows; an empty key finds nothing."""
    return pl.col("key").is_in(rows["key"].unique().drop_nulls().implode()).fill_null(False)


def no_rows(columns: Sequence[str]) -> pl.DataFrame:
    """What `keyed` says of no file."""
    more = {name: pl.Boolean() if name.startswith("takes") else pl.String() for name in columns}
    return pl.DataFrame(
        schema={
            SOURCE: pl.UInt32(),
            LINE: pl.Int64(),
            "key": pl.String(),
            "shown": pl.String(),
            **more,
        }
    )


def nothing(mapping: Mapping, join: Join, rows: pl.DataFrame) -> pl.DataFrame:
    """The reasons of joined rows that no row finds."""
    remark = (
        f"joins nothing, since no row that {mapping.name} reads has it; look whether these have "
        "come, or leave it out under [[join.leave_out]]."
    )
    return reasons(rows, "joins_nothing", remark, join.on[0][1])


def reasons(
    rows: pl.DataFrame, rule: str | pl.Expr, remark: str, header: str, column: str = ""
) -> pl.DataFrame:
    """One reason a joined row; `header` is that of the cell `shown`, `column` the feed's own."""
    return rows.select(
        SOURCE,
        LINE,
        pl.lit(column).alias("column"),
        pl.col("shown").alias("value"),
        (pl.lit(rule) if isinstance(rule, str) else rule).alias("rule"),
        _sentence(header, remark).alias("reason"),
    ).cast(_REASONS)


def failures(rows: pl.DataFrame, rule: str, remark: str, join: Join) -> pl.DataFrame:
    """One reason a row of the mapping's own files that a join sets aside."""
    header = join.on[0][0].replace(OF_JOIN, ".")
    return rows.select(
        LINE,
        pl.lit(None, pl.Int64).alias("column_index"),
        pl.col("shown").alias("value"),
        pl.lit(rule).alias("rule"),
        _sentence(header, remark).alias("reason"),
        SOURCE,
    ).cast(_FAILURES)


def _sentence(header: str, remark: str) -> pl.Expr:
    shown = shown_text(pl.col("shown").fill_null(""))
    quoted = pl.when(shown == "").then(pl.lit("")).otherwise(pl.format(' "{}"', shown))
    return pl.format("{}{} {}", pl.lit(header), quoted, pl.lit(remark))
