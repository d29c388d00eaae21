"""Which header of a file holds which column of the feed.

Belongs here: matching names, and why a file cannot be matched. Does not belong here: where the
header line is (`pipelines.exports`), guesses (`draft`).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from rapidfuzz import fuzz, process

from pipelines.records.mapping import Mapping
from pipelines.records.mapping_checks import LONG_PARTS
from schemas.codes import ANALYTES
from schemas.columns import column_names, required_columns
from schemas.feeds import FEED_TABLES

_NEAREST = 3
# Where one of two columns is enough.
EITHER = {"water_tests": ("site", "serial"), "treatment_purchases": ("site", "serial")}
_REQUIRED_PARTS = ("analyte", "value")


@dataclass(frozen=True)
class HeaderFault:
    """Why a whole file is set aside: the feed's column, what stood there, rule and sentence."""

    column: str
    value: str
    rule: str
    reason: str


@dataclass(frozen=True)
class Matched:
    """The place in the file (from 0) of each column of the feed, or of each part of the layout."""

    places: dict[str, int]
    fault: HeaderFault | None = None


def bare(name: str) -> str:
    """A header without regard to case, spaces, dots, dashes and underscores."""
    plain = unicodedata.normalize("NFC", name).casefold()
    return re.sub(r"[\s._\-\u2010-\u2015]", "", plain)


def wanted(feed: str, mapping: Mapping) -> list[str]:
    """What is looked for in the header: the feed's columns, in the long layout also its parts."""
    columns = column_names(FEED_TABLES[feed])
    if not mapping.is_long:
        return columns
    told = set((mapping.analytes or {}).values())
    return [name for name in columns if name not in ANALYTES and name not in told] + [*LONG_PARTS]


def expected_headers(feed: str, mapping: Mapping) -> list[str]:
    """The names that a file's header line is expected to hold, by the mapping or the feed."""
    return [mapping.columns.get(name, name) for name in wanted(feed, mapping)]


def match_headers(feed: str, header: Sequence[str], mapping: Mapping) -> Matched:
    """Matches the headers; a column that the mapping names is matched by its name there alone."""
    plain = [bare(name) for name in header]
    taken = {bare(name) for name in mapping.columns.values()}
    places: dict[str, int] = {}
    for column in wanted(feed, mapping):
        if column in mapping.constants:
            continue
        named = mapping.columns.get(column)
        sought = bare(named if named is not None else column)
        if named is None and sought in taken:
            continue
        found = [place for place, name in enumerate(plain) if name == sought]
        if len(found) > 1:
            return Matched(places, _twice(column, [header[place] for place in found]))
        if found:
            places[column] = found[0]
    return Matched(places, _missing(feed, header, mapping, places))


def absent_headers(feed: str, header: Sequence[str], mapping: Mapping) -> dict[str, str]:
    """What the mapping names and the file lacks: the feed's column to a sentence about it."""
    there = {bare(name) for name in header}
    looked_for = set(wanted(feed, mapping)) - set(mapping.constants)
    return {
        column: f'There is no header "{named}", which {mapping.name} names for {column}; the '
        f"column is read as empty, and {_nearest([named], header)}."
        for column, named in mapping.columns.items()
        if column in looked_for and bare(named) not in there
    }


def _twice(column: str, headers: list[str]) -> HeaderFault:
    told = " and ".join(f'"{name}"' for name in headers)
    return HeaderFault(
        column,
        headers[1],
        "column_twice",
        f"{column} matches the headers {told}; rename one of them, or name the right one under "
        "[columns] in the mapping.",
    )


def _missing(
    feed: str, header: Sequence[str], mapping: Mapping, places: dict[str, int]
) -> HeaderFault | None:
    there = set(places) | set(mapping.constants)
    required = required_columns(FEED_TABLES[feed])
    missing = [name for name in required if name not in there]
    if mapping.is_long:
        missing += [name for name in _REQUIRED_PARTS if name not in there]
    either = EITHER.get(feed, ())
    sought = [mapping.columns.get(name, name) for name in missing]
    told = [f"the required column {name}" for name in missing]
    if either and not any(name in there for name in either):
        missing.append(either[0])
        sought += [mapping.columns.get(name, name) for name in either]
        told.append(f"{' or '.join(either)} (at least one of the two)")
    if not missing:
        return None
    return HeaderFault(
        missing[0],
        "",
        "missing_column",
        f"The file lacks {' and '.join(told)}; {_nearest(sought, header)}; rename it, or name it "
        f"under [columns] in {mapping.name}.",
    )


def _nearest(sought: Sequence[str], header: Sequence[str]) -> str:
    """The headers that come nearest to what was sought, as a clause."""
    names = [name for name in header if name.strip()]
    if not names:
        return "it has no headers"
    near: list[str] = []
    for name in sought:
        found = process.extract(
            bare(name), names, scorer=fuzz.WRatio, processor=bare, limit=_NEAREST
        )
        near += [header for header, _, _ in found if header not in near]
    shown = ", ".join(f'"{name}"' for name in near[: _NEAREST * 2])
    return f"the nearest headers found are {shown}"
