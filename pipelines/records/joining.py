"""Rows of several files put together: each row of a mapping's own files with what its joins find.

Belongs here: all files of one mapping at once. Does not belong here: one join (`join_matches`,
`join_sums`), what became of joined rows (`join_ends`), which files there are (`pipelines.steps`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import polars as pl

from pipelines.exports.header_rows import bare, places_of
from pipelines.exports.reading import FAULTS, Reading
from pipelines.records.entries import OF_JOIN
from pipelines.records.headers import joining_headers, tested_headers
from pipelines.records.join_entries import PLACES, Join
from pipelines.records.join_keys import (
    LINE,
    OF_CELL,
    SOURCE,
    Ends,
    JoinMatches,
    key_of,
    keyed,
    no_failures,
)
from pipelines.records.join_matches import match
from pipelines.records.join_sums import make_headers
from pipelines.records.left_out import LEFT_OUT
from pipelines.records.mapping import Mapping
from pipelines.records.numerals import Marks
from pipelines.records.row_cells import Place, cell, in_marks, leave_rows_out


@dataclass(frozen=True)
class Source:
    """One file or sheet as it was read."""

    place: Place
    reading: Reading


@dataclass(frozen=True)
class Joining:
    """The files of one mapping after its joins.

    Attributes:
        readings: its own files in their order; their headers go on with those of the joins.
        not_joined: for each, the reasons of rows that their joins set aside, by `FAULTS`.
        ends: for each join, what became of each row of its files, which are told by their numbers.
    """

    readings: list[Reading]
    not_joined: list[pl.DataFrame]
    ends: list[Ends]


def join_files(
    mapping: Mapping, firsts: Sequence[Source], joined: Sequence[Sequence[Source]]
) -> Joining:
    """Joins the files of a mapping.

    Args:
        mapping: the mapping, with its joins.
        firsts: the files that it serves, read without a fault.
        joined: for each join its files, in the order of their paths, read without a fault.
    """
    headers = [list(source.reading.header) for source in firsts]
    rows = _named_rows(mapping, firsts)
    used_headers = _headers_named(mapping)
    failures, ends = [no_failures()], []
    for join, sources in zip(mapping.joins, joined, strict=True):
        gone, kept = [Ends.none_left_out()], []
        for number, source in enumerate(sources):
            reading, left = leave_rows_out(
                in_marks(source.reading, join.marks),
                join.leave_out,
                source.place,
                _always(join.marks),
            )
            kept.append(Source(source.place, reading))
            gone.append(left.select(pl.lit(number, pl.UInt32).alias(SOURCE), *LEFT_OUT.names()))
        matches, shown = _find(mapping, join, rows, kept, used_headers)
        for header in headers:
            header += [f"{join.name}{OF_JOIN}{name}" for name in shown]
        rows = rows.with_columns(matches.values.get_columns())
        failures.append(matches.failures)
        ends.append(replace(matches.ends, left_out=pl.concat(gone)))
    failed = pl.concat(failures)
    mine = [pl.col(SOURCE) == number for number in range(len(firsts))]
    return Joining(
        [
            _extended(source.reading, header, rows.filter(of_file))
            for source, header, of_file in zip(firsts, headers, mine, strict=True)
        ],
        [failed.filter(of_file).select(FAULTS.names()) for of_file in mine],
        ends,
    )


def _always(marks: Marks) -> Callable[[str], Marks]:
    return lambda _: marks


def _extended(reading: Reading, header: list[str], rows: pl.DataFrame) -> Reading:
    """A file with the headers of its joins; the cells of those that nothing names are not there."""
    more = {
        f"c{at}": rows[name].fill_null("")
        for name in rows.columns
        if name.find(OF_JOIN) > 0
        for at in places_of(name, header)[:1]
    }
    extended = reading.rows.with_columns(text.alias(at) for at, text in more.items())
    return replace(reading, header=header, rows=extended)


def _headers_named(mapping: Mapping) -> list[str]:
    """The headers of joined files that anything names, each once."""
    columns = [header for name in mapping.columns for header in mapping.headers_of(name)]
    several = [header for one in mapping.several.values() for header in one.headers]
    names = [*columns, *several, *tested_headers(mapping), *joining_headers(mapping)]
    return [name for name in dict.fromkeys(names) if OF_JOIN in name]


def _named_rows(mapping: Mapping, firsts: Sequence[Source]) -> pl.DataFrame:
    """The rows of all own files, with the headers that joins look at under their names."""
    own = [name for name in joining_headers(mapping) if OF_JOIN not in name]
    texts = {OF_CELL + name: pl.String() for name in own}
    frames = [pl.DataFrame(schema={SOURCE: pl.UInt32(), LINE: pl.Int64(), **texts})]
    for number, source in enumerate(firsts):
        cells = {name: cell(name, source.reading.header, source.place) for name in own}
        frames.append(
            source.reading.rows.select(
                pl.lit(number, pl.UInt32).alias(SOURCE),
                "line",
                *(
                    (pl.lit(None, pl.String) if text is None else text).alias(OF_CELL + name)
                    for name, text in cells.items()
                ),
            )
        )
    return pl.concat(frames)


def _find(
    mapping: Mapping,
    join: Join,
    rows: pl.DataFrame,
    sources: list[Source],
    used_headers: Sequence[str],
) -> tuple[JoinMatches, list[str]]:
    """What the rows find, and the headers that they have by it."""
    so_far = [_so_far(rows, left) for left, _ in join.on]
    keyed_rows = rows.select(SOURCE, LINE, key_of(so_far, join).alias("key"))
    of_join = [
        name.partition(OF_JOIN)[2] for name in used_headers if name.startswith(join.name + OF_JOIN)
    ]
    if join.made:
        shown = [one.name for one in join.made]
        return make_headers(mapping, join, keyed_rows, _tables(join, sources, [])), shown
    shown = _all_headers(sources)
    places = [name for name in PLACES if name in map(str.casefold, of_join)]
    shown += [name for name in places if not places_of(name, shown)]
    wanted = [name for name in of_join if places_of(name, shown)]
    readings = [source.reading for source in sources]
    return match(mapping, join, keyed_rows, _tables(join, sources, wanted), readings), shown


def _so_far(rows: pl.DataFrame, left: str) -> pl.Expr:
    """The cells under a header so far; null where there is none, for which a file is set aside."""
    if OF_JOIN not in left:
        return pl.col(OF_CELL + left)
    columns = [name for name in rows.columns if bare(name) == bare(left)]
    return pl.col(columns[0]) if columns else pl.lit(None, pl.String)


def _all_headers(sources: Sequence[Source]) -> list[str]:
    """The headers of all files; of equal ones as many as one file has."""
    shown: list[str] = []
    for source in sources:
        plain = [bare(name) for name in source.reading.header]
        for at, name in enumerate(source.reading.header):
            times = plain[: at + 1].count(plain[at])
            if sum(bare(one) == plain[at] for one in shown) < times:
                shown.append(name)
    return shown


def _tables(join: Join, sources: Sequence[Source], wanted: list[str]) -> list[pl.DataFrame]:
    return [
        keyed(join, number, source.reading, source.place, wanted)
        for number, source in enumerate(sources)
    ]
