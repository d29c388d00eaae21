"""Reads one export: a text file as each mapping reads it, a workbook sheet by sheet.

Belongs here: from a file to its parts, none of them lost. Does not belong here: which mapping
serves what (`pipelines.records.serving`), the store (`landing`), accounts over files (`ingest`).
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import polars as pl

from pipelines.exports.delivery import is_workbook
from pipelines.exports.header_rows import HeaderSought
from pipelines.exports.limits import Limits
from pipelines.exports.reading import Reading
from pipelines.exports.text_rows import read_rows
from pipelines.records.feed_file import parse_written
from pipelines.records.headers import (
    expected_headers,
    header_sought,
)
from pipelines.records.join_headers import join_sought
from pipelines.records.mapping import Mapping
from pipelines.steps.read_part import (
    LANDED,
    ReadPart,
    is_template,
    joined_part,
    may_be_template,
    refused,
    served_twice,
    text_part,
)
from pipelines.steps.workbook_parts import WorkbookParts
from pipelines.store.deliveries import Delivered
from pipelines.store.inputs import Inputs
from pipelines.workspace.settings import Settings
from schemas.codes import DESK_FILE
from schemas.columns import column_names
from schemas.feeds import FEED_TABLES


def limits_of(settings: Settings) -> Limits:
    """What may be read of one file at most."""
    return Limits(
        max_file_bytes=settings.max_file_mb * 1_000_000,
        max_field_chars=settings.max_field_chars,
        max_columns=settings.max_columns,
        max_cells=settings.max_cells,
        max_workbook_bytes=settings.max_workbook_mb << 20,
        max_workbook_seconds=settings.max_workbook_seconds,
    )


def read_parts(inputs: Inputs, file: Delivered) -> Iterator[ReadPart]:
    """Every part of a file, at least one; those of a text file are text yet."""
    refusal = file.export.refusal
    if file.export.path == DESK_FILE:
        yield from _desk_parts(inputs, file)
    elif refusal is not None and refusal[0] == "no_feed":  # read so that its rows are counted
        if is_workbook(file.export.path):
            yield from WorkbookParts(inputs, file, limits_of(inputs.settings)).of_no_feed(*refusal)
        else:
            counted = _read_text(inputs.settings, file.export.absolute, [], HeaderSought())
            yield refused("", None, "", *refusal, counted)
    elif refusal is not None:
        yield refused("", None, "", *refusal, None)
    elif is_workbook(file.export.path):
        yield from WorkbookParts(inputs, file, limits_of(inputs.settings)).parts()
    else:
        yield from _text_parts(inputs, file)


def _desk_parts(inputs: Inputs, file: Delivered) -> Iterator[ReadPart]:
    """What people recorded, a part a feed."""
    for feed in sorted(file.serving):
        rows = inputs.recorded.rows(feed)
        corrections = inputs.recorded.corrections(feed)
        parsed = parse_written(feed, rows, inputs.settings.timezone, corrections)
        names = column_names(FEED_TABLES[feed])
        raw = ["\t".join(" ".join(row.get(n, "").split()) for n in names) for _, row in rows]
        landed = pl.DataFrame(
            {"file": DESK_FILE, "sheet": "", "line": [line for line, _ in rows], "raw": raw},
            schema=LANDED,
        )
        mapping = file.serving[feed][0]
        yield ReadPart(feed, mapping, "", 0, None, None, landed, parsed, header=names)


def read_text(settings: Settings, path: Path, feed: str, mapping: Mapping) -> Reading:
    """A text file as the mapping expects it."""
    return _read_text(settings, path, expected_headers(feed, mapping), header_sought(feed, mapping))


def _read_text(
    settings: Settings, path: Path, known_names: list[str], sought: HeaderSought
) -> Reading:
    limits = limits_of(settings)
    return read_rows(
        path,
        known_names=known_names,
        sought=sought,
        max_file_bytes=limits.max_file_bytes,
        max_field_chars=limits.max_field_chars,
        max_columns=limits.max_columns,
    )


def _text_parts(inputs: Inputs, file: Delivered) -> Iterator[ReadPart]:
    path = file.export.path
    for mapping, number in file.joining:
        join = mapping.joins[number]
        sought = join_sought(join)
        reading = _read_text(inputs.settings, file.export.absolute, list(join.needed), sought)
        yield joined_part(mapping, number, reading, "", 0)
    for feed, serving in sorted(file.serving.items()):
        reading = read_text(inputs.settings, file.export.absolute, feed, serving[0])
        if len(serving) > 1:
            yield refused(
                feed, None, "", "two_mappings", served_twice(path, "", feed, serving), reading
            )
            continue
        mapping = serving[0]
        if may_be_template(mapping, reading.rows_read):
            plain = Mapping.plain(feed)
            as_template = read_text(inputs.settings, file.export.absolute, feed, plain)
            if is_template(feed, as_template):
                mapping, reading = plain, as_template
        yield text_part(file, feed, mapping, reading, "", 0)
