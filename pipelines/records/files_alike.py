"""Several files that one mapping reads alike, typed at once: what a small file costs is not its
rows.

Belongs here: which files may be typed together, and parting what comes out by file. Does not belong
here: how rows are typed (`feed_file`), with which this must agree to the row.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace

import polars as pl

from pipelines.exports.reading import Reading
from pipelines.records.corrections import Correction
from pipelines.records.feed_file import ParsedFile, parse_file, seen_on
from pipelines.records.headers import looks_at_places, match_headers
from pipelines.records.mapping import Mapping
from pipelines.records.row_cells import Place

# Files typed together have their lines in one count: line + _LINES times the number of the file.
# With the parts of rows that are split, which only files by themselves have, it would not do.
_LINES = 2**32
_FILE = "\0file"
_LARGE = 100_000  # rows of a file that is typed by itself
_MOST_ROWS = 400_000  # rows that are typed together


def parse_files(
    feed: str,
    files: Sequence[tuple[Reading, Place]],
    mapping: Mapping,
    timezone: str,
    corrections: Sequence[Correction] = (),
) -> list[ParsedFile]:
    """Types the rows of files that the mapping reads, as `feed_file.parse_file` does each.

    Args:
        feed: the files' feed.
        files: each file as text, and where its rows come from.
        mapping: how this company writes the feed.
        timezone: the IANA name of the workspace's time zone.
        corrections: of the feed, in force.
    """
    parsed: dict[int, ParsedFile] = {}
    for group in _groups(feed, files, mapping):
        if len(group) == 1:
            reading, place = files[group[0]]
            parsed_file = parse_file(
                feed, reading, mapping, timezone, place, corrections=corrections
            )
            parsed[group[0]] = parsed_file
            continue
        readings = [files[number][0] for number in group]
        parsed_file = parse_file(
            feed, _as_one(readings), mapping, timezone, corrections=corrections
        )
        parsed |= dict(zip(group, _parted(feed, parsed_file, readings), strict=True))
    return [parsed[number] for number in range(len(files))]


def _groups(
    feed: str, files: Sequence[tuple[Reading, Place]], mapping: Mapping
) -> Iterable[list[int]]:
    """The numbers of files that can be typed together, at most _MOST_ROWS rows."""
    alone = mapping.split_column is not None or looks_at_places(feed, mapping)
    of_form: dict[object, list[int]] = {}
    held: Counter[object] = Counter()
    for number, (reading, _) in enumerate(files):
        rows = reading.rows.height
        is_plain = reading.fault is None and reading.typed is None and rows < _LARGE
        form = (tuple(reading.header), reading.delimiter)
        if alone or not is_plain or match_headers(feed, reading.header, mapping).fault is not None:
            yield [number]
            continue
        if held[form] + rows > _MOST_ROWS:
            yield of_form.pop(form)
            held[form] = 0
        of_form.setdefault(form, []).append(number)
        held[form] += rows
    yield from of_form.values()


def _as_one(readings: Sequence[Reading]) -> Reading:
    """The rows of all files, with the number of the file in their lines."""
    lines = [pl.col("line") + number * _LINES for number in range(len(readings))]
    faulty = [(r, line) for r, line in zip(readings, lines, strict=True) if r.faults.height]
    full = [(r, line) for r, line in zip(readings, lines, strict=True) if r.rows.height]
    none = readings[0].rows.clear(), readings[0].faults.clear()
    return replace(
        readings[0],
        rows=pl.concat([none[0], *(r.rows.with_columns(line) for r, line in full)], rechunk=True),
        faults=pl.concat([none[1], *(r.faults.with_columns(line) for r, line in faulty)]),
        rows_read=sum(reading.rows_read for reading in readings),
    )


def _parted(feed: str, together: ParsedFile, readings: Sequence[Reading]) -> list[ParsedFile]:
    """What was said of all files, by file."""
    seen = together.rows.group_by(_file_of("source_line")).agg(_seen=seen_on(feed).max())
    latest = dict(zip(seen[_FILE], seen["_seen"], strict=True))
    rows = _by_file(together.rows, "source_line")
    set_aside, besides = _by_file(together.set_aside, "line"), _by_file(together.besides, "line")
    left_out, corrected = _by_file(together.left_out, "line"), _by_file(together.corrected, "line")
    unsound = _by_file(together.unsound, "source_line")
    no_rows, no_reason = together.rows.clear(), together.set_aside.clear()
    return [
        ParsedFile(
            rows=rows.get(number, no_rows),
            set_aside=set_aside.get(number, no_reason),
            besides=besides.get(number, no_reason),
            rows_read=reading.rows_read,
            is_whole=False,
            latest_seen=latest.get(number),
            left_out=left_out.get(number, together.left_out.clear()),
            header_line=reading.header_line,
            corrected=corrected.get(number, together.corrected.clear()),
            unsound=unsound.get(number, pl.DataFrame()),
        )
        for number, reading in enumerate(readings)
    ]


def _by_file(rows: pl.DataFrame, line: str) -> dict[int, pl.DataFrame]:
    """The rows of each file that has any, in their order, with their own lines."""
    if rows.is_empty():
        return {}
    own_lines = rows.with_columns(pl.col(line) % _LINES, _file_of(line))
    parts = own_lines.partition_by(_FILE, as_dict=True, include_key=False)
    return {int(number): part for (number,), part in parts.items()}


def _file_of(line: str) -> pl.Expr:
    return (pl.col(line) // _LINES).alias(_FILE)
