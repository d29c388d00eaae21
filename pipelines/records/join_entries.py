"""Files that are joined to those of a mapping: what its [[join]] entries say.

Belongs here: one join, its keys and the headers that it makes. Does not belong here: what may be
wrong with an entry (`join_checks`), finding and adding up rows (`joining`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pipelines.exports.header_rows import bare
from pipelines.records.entries import cells_of, leave_out_of, named_header, step_of
from pipelines.records.left_out import LeaveOut
from pipelines.records.numerals import Marks
from pipelines.records.steps import Step

PLACES = ("#file", "#sheet", "#line")  # of a row, which may be named like headers


@dataclass(frozen=True)
class Made:
    """A header that a join makes of the rows it finds: the sum of one of theirs, or the first.

    `where` has headers with the whole cells that rows must hold, in any case; all must hold.
    """

    name: str
    header: str
    where: tuple[tuple[str, tuple[str, ...]], ...]
    is_sum: bool


@dataclass(frozen=True)
class Join:
    """One join.

    Attributes:
        name: what stands before its headers, `claim` in `claim.Submitted`.
        files, sheets: patterns of paths and sheet names; without `sheets` those that hold all that
            the join names.
        on: pairs of a header so far and one of the joined file; all must agree.
        on_steps: steps on both sides of each.
        header_row: the line of the header; None where it is to be found.
        marks: how its numbers are written.
        valid_from, valid_until: the days in file names for which it holds, both included.
        made: the headers that it makes; without any a row finds one joined row at most, and has
            all of its headers.
        leave_out: the joined rows that are meant to stay out.
    """

    name: str
    files: tuple[str, ...]
    on: tuple[tuple[str, str], ...]
    on_steps: tuple[Step, ...] = ()
    sheets: tuple[str, ...] | None = None
    header_row: int | None = None
    marks: Marks = Marks()  # noqa: RUF009 - frozen
    valid_from: dt.date | None = None
    valid_until: dt.date | None = None
    made: tuple[Made, ...] = ()
    leave_out: tuple[LeaveOut, ...] = ()

    @property
    def needed(self) -> tuple[str, ...]:
        """The headers without which a file cannot be joined, each once."""
        tests = [test.header for entry in self.leave_out for test in entry.tests]
        made = [name for one in self.made for name in (one.header, *(h for h, _ in one.where))]
        return tuple(dict.fromkeys([*(right for _, right in self.on), *made, *tests]))

    def adds_up(self, header: str) -> bool:
        """Whether a header that it makes is a sum."""
        return any(one.is_sum and bare(one.name) == bare(header) for one in self.made)


def join_of(entry: dict[str, Any], before: Sequence[str], marks: Marks) -> Join:
    """A checked entry.

    Args:
        entry: the entry as TOML says it.
        before: the names of the joins before it, whose headers its keys may name.
        marks: how the mapping writes numbers.
    """
    return Join(
        entry["name"],
        tuple(entry["files"]),
        tuple((named_header(left, before), right) for left, right in entry["on"].items()),
        tuple(step_of(step) for step in entry.get("on_steps", ())),
        tuple(entry["sheets"]) if "sheets" in entry else None,
        entry.get("header_row"),
        _marks(entry, marks),
        entry.get("valid_from"),
        entry.get("valid_until"),
        (
            *(_made(name, part, True) for name, part in entry.get("sum", {}).items()),
            *(_made(name, part, False) for name, part in entry.get("first", {}).items()),
        ),
        tuple(leave_out_of(part) for part in entry.get("leave_out", ())),
    )


def _marks(entry: dict[str, Any], marks: Marks) -> Marks:
    decimal = entry.get("decimal", marks.decimal)
    thousands = entry.get("thousands", marks.thousands)
    return Marks(decimal, None if thousands == decimal else thousands)


def _made(name: str, entry: dict[str, Any], is_sum: bool) -> Made:
    where = tuple(
        (header, cells_of(cells) or ()) for header, cells in entry.get("where", {}).items()
    )
    return Made(name, entry["header"], where, is_sum)
