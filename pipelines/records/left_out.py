"""Rows that are meant to stay out: which entry of a mapping's `leave_out` a row fits.

Belongs here: the tests on cells as they came. Does not belong here: what may be wrong with an entry
(`rule_checks`), whole sheets (`serving`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import polars as pl

from pipelines.records.globs import any_of, text_pattern
from pipelines.records.numerals import Marks, floats

LEFT_OUT = pl.Schema({"line": pl.Int64, "entry": pl.Int64, "reason": pl.String})


@dataclass(frozen=True)
class CellTest:
    """Tests of one cell, all of which must hold; patterns are for whole cells, in any case."""

    header: str
    is_: tuple[str, ...] | None = None
    is_not: tuple[str, ...] | None = None
    matches: str | None = None
    empty: bool | None = None
    below: float | None = None
    above: float | None = None


@dataclass(frozen=True)
class LeaveOut:
    """One entry: the tests that must all hold, and the reason that stands in the accounts."""

    reason: str
    tests: tuple[CellTest, ...] = ()
    first_cell: tuple[str, ...] = ()
    sheets: tuple[str, ...] = ()

    @property
    def is_of_sheets(self) -> bool:
        """Whether it leaves out whole sheets."""
        return bool(self.sheets) and not (self.tests or self.first_cell)


def rows_left_out(
    rows: pl.DataFrame,
    entries: tuple[LeaveOut, ...],
    places: dict[str, pl.Expr],
    first_cell: pl.Expr,
    marks: Callable[[str], Marks],
) -> pl.DataFrame:
    """The rows that an entry fits, by `LEFT_OUT`; the first entry that holds gives the reason.

    Args:
        rows: the rows, with `line`.
        entries: those that look at rows.
        places: by header, where its cell is found in `rows`; an entry with a header that is not
            there looks at nothing.
        first_cell: the row's first cell that is not empty.
        marks: how numbers under a header are written.
    """
    fitting: list[pl.Expr] = []
    for number, entry in enumerate(entries):
        if any(test.header not in places for test in entry.tests) or entry.is_of_sheets:
            continue
        holds = [_holds(places[test.header], test, marks(test.header)) for test in entry.tests]
        if entry.first_cell:
            holds.append(first_cell.str.contains(any_of(map(text_pattern, entry.first_cell))))
        fits = pl.all_horizontal(holds).fill_null(False)
        fitting.append(pl.when(fits).then(pl.lit(number, pl.Int64)))
    if not fitting:
        return LEFT_OUT.to_frame()
    reasons = {number: entry.reason for number, entry in enumerate(entries)}
    return (
        rows.select("line", entry=pl.coalesce(fitting))
        .filter(pl.col("entry").is_not_null())
        .with_columns(reason=pl.col("entry").replace_strict(reasons, return_dtype=pl.String))
        .select(LEFT_OUT.names())
    )


def idle_entries(
    name: str, entries: Mapping[int, LeaveOut], left: Mapping[int, int], rows_read: int
) -> list[str]:
    """A sentence for each entry that leaves out no row, or every row, of all files of a mapping.

    Args:
        name: the mapping.
        entries: its entries by their numbers, its own or those of one of its joins.
        left: how many rows each left out, by its number.
        rows_read: how many rows the files hold.
    """
    sentences = []
    for number, entry in entries.items():
        rows = left.get(number, 0)
        if rows in (0, rows_read):
            which = "no row" if rows == 0 else "every row"
            sentences.append(f'{name}: the entry "{entry.reason}" leaves out {which}.')
    return sentences


def _holds(cell: pl.Expr, test: CellTest, marks: Marks) -> pl.Expr:
    text = cell.fill_null("")
    holds = []
    if test.is_ is not None:
        holds.append(text.str.contains(any_of(map(text_pattern, test.is_))))
    if test.is_not is not None:
        holds.append(~text.str.contains(any_of(map(text_pattern, test.is_not))))
    if test.matches is not None:
        holds.append(text.str.contains(f"(?i){test.matches}"))
    if test.empty is not None:
        holds.append((text == "") == test.empty)
    number = floats(text, marks)
    if test.below is not None:
        holds.append((number < test.below).fill_null(False))
    if test.above is not None:
        holds.append((number > test.above).fill_null(False))
    return pl.all_horizontal(holds)
