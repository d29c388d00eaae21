"""Which header of a file holds which column of the feed.

Belongs here: matching names, and why a file cannot be matched. Does not belong here: where the
header line is (`pipelines.exports`), guesses (`draft`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from pipelines.exports.header_rows import HeaderSought, bare, base_of, places_of
from pipelines.records.entries import OF_JOIN, shown_header
from pipelines.records.header_words import listed, nearest
from pipelines.records.mapping import Mapping
from pipelines.records.mapping_checks import LONG_PARTS, PLACES
from schemas.codes import ANALYTES
from schemas.columns import column_names, required_columns
from schemas.feeds import FEED_TABLES

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
class Together:
    """A column from several places: headers (from 0), or `#file` and the like.

    `between` stands between the texts that are not empty; None: the first that is not empty.
    """

    places: tuple[int | str, ...]
    between: str | None


@dataclass(frozen=True)
class Matched:
    """Where each column of the feed, or each part of the layout, is found.

    `places` has those of one header (from 0), `together` all others.
    """

    places: dict[str, int]
    fault: HeaderFault | None = None
    together: dict[str, Together] = field(default_factory=dict)


def wanted(feed: str, mapping: Mapping) -> list[str]:
    """What is looked for in the header: the feed's columns, in the long layout also its parts."""
    columns = column_names(FEED_TABLES[feed])
    if not mapping.is_long:
        return columns
    analytes = set((mapping.analytes or {}).values())
    return [name for name in columns if name not in ANALYTES and name not in analytes] + [
        *LONG_PARTS
    ]


def expected_headers(feed: str, mapping: Mapping) -> list[str]:
    """The names that a file's header line is expected to hold, by the mapping or the feed."""
    headers = [header for name in wanted(feed, mapping) for header in mapping.headers_of(name)]
    return [header for header in [*headers, *joining_headers(mapping)] if OF_JOIN not in header]


def header_sought(feed: str, mapping: Mapping) -> HeaderSought:
    """By what the header row of a file is known: what is required, left out by and joined by."""
    groups = [mapping.headers_of(name) for name in required(feed, mapping)]
    if feed in EITHER and not any(name in mapping.constants for name in EITHER[feed]):
        groups.append(tuple(h for name in EITHER[feed] for h in mapping.headers_of(name)))
    groups += [(name,) for name in [*tested_headers(mapping), *joining_headers(mapping)]]
    return HeaderSought(mapping.header_row, to_be_found(groups))


def to_be_found(groups: Sequence[tuple[str, ...]]) -> tuple[tuple[str, ...], ...]:
    """Groups of names without groups of which one is a place, or stands in a joined file."""
    return tuple(
        group
        for group in groups
        if not set(group) & set(PLACES) and not any(OF_JOIN in name for name in group)
    )


def required(feed: str, mapping: Mapping) -> list[str]:
    """The columns, and parts of the layout, that must be found and are no constants."""
    names = [*required_columns(FEED_TABLES[feed]), *(_REQUIRED_PARTS if mapping.is_long else ())]
    return [name for name in names if name not in mapping.constants]


def tested_headers(mapping: Mapping) -> list[str]:
    """The headers that entries of `leave_out` look at."""
    return [test.header for entry in mapping.leave_out for test in entry.tests]


def joining_headers(mapping: Mapping) -> list[str]:
    """The headers so far by which joins find their rows, each once."""
    return list(dict.fromkeys(left for join in mapping.joins for left, _ in join.on))


def looks_at_places(feed: str, mapping: Mapping) -> bool:
    """Whether columns or tests may come from where a row stands: its file, sheet, line or part."""
    said = [header for name in wanted(feed, mapping) for header in mapping.headers_of(name)]
    return any(name.casefold() in PLACES for name in [*said, *tested_headers(mapping)])


def match_headers(feed: str, header: Sequence[str], mapping: Mapping) -> Matched:
    """Matches the headers; a column that the mapping names is matched by its name there alone."""
    columns = [name for name in wanted(feed, mapping) if name not in mapping.constants]
    mapped = [name for name in wanted(feed, mapping) if mapping.names(name)]
    said = [header for name in mapped for header in mapping.headers_of(name)]
    # A header that is one column's whole source is no other's, unless every row needs that one.
    taken = {bare(header) for name, header in mapping.columns.items() if name in mapped}
    taken -= {bare(name) for name in required(feed, mapping)}
    # Who numbers equal headers means the first by the bare name.
    all_named = [*said, *tested_headers(mapping), *joining_headers(mapping)]
    counted = {bare(base_of(name)) for name in all_named if base_of(name) != name}
    places: dict[str, int] = {}
    together: dict[str, Together] = {}
    for column in columns:
        if not mapping.names(column) and bare(column) in taken:
            continue
        sources: list[int | str] = []
        for name in mapping.headers_of(column):
            at = places_of(name, header)
            if len(at) > 1 and bare(name) not in counted:
                both = [header[place] for place in at]
                return Matched(places, _twice(column, both), together)
            if at:
                sources.append(at[0])
            elif name.casefold() in PLACES and mapping.names(column):
                sources.append(name.casefold())
        if column in mapping.several and sources:
            together[column] = Together(tuple(sources), mapping.several[column].between)
        elif sources and isinstance(sources[0], str):
            together[column] = Together((sources[0],), None)
        elif sources and isinstance(sources[0], int):
            places[column] = sources[0]
    fault = _missing(feed, header, mapping, {*places, *together})
    return Matched(places, fault, together)


def absent_headers(feed: str, header: Sequence[str], mapping: Mapping) -> dict[str, str]:
    """What the mapping names and the file lacks: the feed's column to a sentence about it."""
    absent = {}
    for column in wanted(feed, mapping):
        if column in mapping.constants or not mapping.names(column):
            continue
        headers = mapping.headers_of(column)
        lacking = [
            name
            for name in headers
            if name.casefold() not in PLACES and not places_of(name, header)
        ]
        if lacking:
            whole = len(lacking) == len(headers)
            rest = "the column is read as empty" if whole else "the others are read"
            absent[column] = (
                f"There is no header {listed(lacking)}, which {mapping.name} names for {column}; "
                f"{rest}, and {nearest(lacking, header)}."
            )
    return absent


def _twice(column: str, headers: list[str]) -> HeaderFault:
    quoted = " and ".join(f'"{shown_header(name)}"' for name in headers)
    return HeaderFault(
        column,
        headers[1],
        "column_twice",
        f"{column} matches the headers {quoted}; rename one of them, or name the right one under "
        "[columns] in the mapping.",
    )


def _missing(
    feed: str, header: Sequence[str], mapping: Mapping, located: set[str]
) -> HeaderFault | None:
    there = located | set(mapping.constants)
    missing = [name for name in required(feed, mapping) if name not in there]
    sought = [name for column in missing for name in mapping.headers_of(column)]
    lacking = [
        _looked_for(mapping, [column], f"the required column {column}") for column in missing
    ]
    either = EITHER.get(feed, ())
    if either and not any(name in there for name in either):
        missing.append(either[0])
        sought += [name for column in either for name in mapping.headers_of(column)]
        plain = f"{' or '.join(either)} (at least one of the two)"
        lacking.append(_looked_for(mapping, either, plain))
    tests = []
    for part, names in (
        ("leave_out", dict.fromkeys(tested_headers(mapping))),
        ("join", joining_headers(mapping)),
    ):
        for name in names:
            if name.casefold() not in PLACES and not places_of(name, header):
                tests.append(name)
                lacking.append(
                    f"the header {listed([name])}, which {mapping.name} names under {part}"
                )
    if not lacking:
        return None
    remedy = f"rename it, or name it under [columns] in {mapping.name}"
    if not missing:
        remedy = f"correct the entry in {mapping.name}, since it may not do nothing unheard"
    return HeaderFault(
        missing[0] if missing else "",
        "" if missing else shown_header(tests[0]),
        "missing_column" if missing else "missing_header",
        f"The file lacks {' and '.join(lacking)}; {nearest([*sought, *tests], header)}; {remedy}.",
    )


def _looked_for(mapping: Mapping, columns: Sequence[str], plain: str) -> str:
    """What was looked for: the headers that the mapping names, else the feed's own column."""
    mapped = [column for column in columns if mapping.names(column)]
    if not mapped:
        return plain
    headers = [name for column in mapped for name in mapping.headers_of(column)]
    return f"the header {listed(headers)}, which {mapping.name} names for {' or '.join(mapped)}"
