"""Entries of a mapping, once they are checked, as values.

Belongs here: from TOML to steps, phrases, tests and sources, one entry at a time. Does not belong
here: a mapping as a whole (`mapping`), what may be wrong with an entry (`rule_checks`).

A header of a joined file is written `claim.Submitted`. Inside it is `claim`, NUL, `Submitted`,
since a file's own header may hold a dot, and no name holds a NUL.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pipelines.records.left_out import CellTest, LeaveOut
from pipelines.records.phrases import Phrase
from pipelines.records.steps import Step

OF_JOIN = "\0"


@dataclass(frozen=True)
class Several:
    """A column that comes from several headers.

    `between` stands between the texts that are not empty; None: the first that is not empty.
    """

    headers: tuple[str, ...]
    between: str | None


def named_header(written: str, joins: Sequence[str]) -> str:
    """A header as it is looked up: one of a joined file is told apart from the file's own.

    Args:
        written: the header as the mapping writes it.
        joins: the names of the joins whose headers there are.
    """
    name, dot, rest = written.partition(".")
    for join in joins:
        if dot and rest.strip() and name.strip().casefold() == join.casefold():
            return f"{join}{OF_JOIN}{rest.strip()}"
    return written


def shown_header(name: str) -> str:
    """A header as people write it."""
    return name.replace(OF_JOIN, ".")


def key_of(text: str) -> str:
    """A word as it is looked up."""
    return text.strip().lower()


def column_of(entry: Any) -> str:
    """The column of an entry of [analytes]."""
    return str(entry["column"] if isinstance(entry, dict) else entry)


def several_of(entry: dict[str, Any], joins: Sequence[str] = ()) -> Several:
    """A column that comes from several headers."""
    listed = entry["first"] if "first" in entry else entry["join"]
    headers = tuple(named_header(header, joins) for header in listed)
    return Several(headers, None if "first" in entry else entry.get("with", " "))


def step_of(step: dict[str, Any]) -> Step:
    """One step."""
    ((verb, value),) = step.items()
    return Step(verb, tuple(value) if isinstance(value, list) else value)


def phrase_of(entry: dict[str, Any]) -> Phrase:
    """One phrase."""
    return Phrase(entry["code"].strip(), tuple(entry.get("any", ())), entry.get("matches"))


def leave_out_of(entry: dict[str, Any], joins: Sequence[str] = ()) -> LeaveOut:
    """One entry of leave_out."""
    tests = [entry] if "header" in entry else []
    return LeaveOut(
        entry["reason"].strip(),
        tuple(_test(test, joins) for test in [*tests, *entry.get("also", ())]),
        tuple(entry.get("first_cell", ())),
        tuple(entry.get("sheets", ())),
    )


def _test(test: dict[str, Any], joins: Sequence[str]) -> CellTest:
    return CellTest(
        named_header(test["header"], joins),
        cells_of(test.get("is")),
        cells_of(test.get("is_not")),
        test.get("matches"),
        test.get("empty"),
        None if "below" not in test else float(test["below"]),
        None if "above" not in test else float(test["above"]),
    )


def cells_of(patterns: Any) -> tuple[str, ...] | None:
    """Patterns of whole cells: one, or several in a list."""
    if patterns is None:
        return None
    return (patterns,) if isinstance(patterns, str) else tuple(patterns)
