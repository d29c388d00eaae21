"""A part of an export: one file, or one sheet of a workbook, as one mapping reads it.

Belongs here: what is known of a part, and the ways in which it comes about. Does not belong here:
which parts a file has (`file_parts`, `workbook_parts`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import polars as pl

from pipelines.exports.header_rows import bare
from pipelines.exports.reading import Reading
from pipelines.records.feed_file import ParsedFile
from pipelines.records.files_alike import parse_files
from pipelines.records.join_headers import join_fault
from pipelines.records.mapping import Mapping
from pipelines.records.reasons import REASON_SCHEMA, no_reasons
from pipelines.records.row_cells import Place
from pipelines.records.serving import named_day
from pipelines.store.deliveries import Delivered
from pipelines.store.inputs import Inputs
from schemas.columns import column_names
from schemas.feeds import FEED_TABLES

LANDED = pl.Schema({"file": pl.String, "sheet": pl.String, "line": pl.Int64, "raw": pl.String})
REFUSED_LINE = 1


@dataclass(frozen=True)
class ReadPart:
    """One file, or one sheet of a workbook, as one mapping reads it.

    `feed` is empty where it is of none; `place` is the number of the sheet in its workbook; `join`
    names the join that reads it, and is empty where it is one of the mapping's own files. `header`
    goes on with the headers of its joins, where there are any. A part that `is_text` is to be typed
    with others of its mapping (`typed_parts`). A part of a mapping with joins that `is_open` is
    parsed once all files of the mapping have been read (`joined_parts`).
    """

    feed: str
    mapping: Mapping | None
    sheet: str
    place: int
    named_date: dt.date | None
    reading: Reading | None
    landed: pl.DataFrame
    parsed: ParsedFile
    join: str = ""
    is_open: bool = False
    is_text: bool = False
    header: list[str] = field(default_factory=list)

    def facts(self, file: str) -> dict[str, Any]:
        """What the store keeps of the part."""
        reading, parsed = self.reading, self.parsed
        return {
            "feed": self.feed,
            "mapping": self.mapping.file if self.mapping else "",
            "file": file,
            "sheet": self.sheet,
            "place": self.place,
            # A file of which no row was read completes nothing, whatever its name says.
            "named_date": None if parsed.is_whole else self.named_date,
            "header_line": parsed.header_line,
            "rows_read": parsed.rows_read,
            "rows_split": parsed.rows_split,
            "left_out": parsed.left_out_rows,
            "joined_as": self.join,
            "joined": parsed.joined,
            "duplicates": parsed.duplicates,
            "is_whole": parsed.is_whole,
            "encoding": reading.encoding if reading else "",
            "delimiter": reading.delimiter if reading else "",
            "headers": reading.header if reading else self.header,
        }

    def without_text(self) -> ReadPart:
        """The same without its rows as text, which `landed` has whole: they take as much memory."""
        if self.reading is None:
            return self
        return replace(self, reading=replace(self.reading, rows=self.reading.rows.clear()))


def text_part(
    file: Delivered, feed: str, mapping: Mapping, reading: Reading, sheet: str, place: int
) -> ReadPart:
    """A part as its mapping reads it, not typed yet."""
    day = named_day(mapping, file.export.path)
    landed = _landed(Place(file.export.path, sheet), reading)
    is_joined = bool(mapping.joins) and reading.fault is None
    return ReadPart(
        feed,
        mapping,
        sheet,
        place,
        day,
        reading,
        landed,
        _unparsed(reading),
        is_open=is_joined,
        is_text=not is_joined,
        header=[] if is_joined else reading.header,
    )


def typed_parts(inputs: Inputs, parts: Sequence[tuple[str, ReadPart]]) -> list[ReadPart]:
    """The parts, of files with these paths, with what is still text typed: files that a mapping
    reads alike together."""
    typed = {number: part for number, (_, part) in enumerate(parts) if not part.is_text}
    waiting: list[tuple[Mapping, list[int]]] = []
    for number, (_, part) in enumerate(parts):
        if part.is_text and part.mapping is not None:
            alike = (mine for mapping, mine in waiting if mapping == part.mapping)
            mine = next(alike, None)
            if mine is None:
                waiting.append((part.mapping, mine := []))
            mine.append(number)
    for mapping, numbers in waiting:
        files = [
            (part.reading, Place(path, part.sheet))
            for path, part in (parts[number] for number in numbers)
            if part.reading is not None
        ]
        corrections = inputs.recorded.corrections(mapping.feed)
        parsed = parse_files(mapping.feed, files, mapping, inputs.settings.timezone, corrections)
        for number, parsed_file in zip(numbers, parsed, strict=True):
            typed[number] = replace(parts[number][1], parsed=parsed_file, is_text=False)
    return [typed[number] for number in range(len(parts))]


def parsed_part(
    inputs: Inputs,
    file: Delivered,
    feed: str,
    mapping: Mapping,
    reading: Reading,
    sheet: str,
    place: int,
) -> ReadPart:
    """A part as its mapping reads it, typed; left open where the mapping has joins."""
    part = text_part(file, feed, mapping, reading, sheet, place)
    return typed_parts(inputs, [(file.export.path, part)])[0]


def _unparsed(reading: Reading) -> ParsedFile:
    """What is known of a part before it is parsed."""
    none = no_reasons()
    line = reading.header_line
    return ParsedFile(
        pl.DataFrame(), none, none, reading.rows_read, False, None, header_line=max(line, 1)
    )


def joined_part(
    mapping: Mapping, number: int, reading: Reading, sheet: str, place: int
) -> ReadPart:
    """A file or sheet that a join reads; set aside whole where it lacks what the join names."""
    join = mapping.joins[number]
    fault = None
    if reading.fault is not None:
        place_of_fault = f"The sheet {sheet}: " if sheet else ""
        fault = reading.fault.rule, f"{place_of_fault}{reading.fault.sentence}"
    if fault is None and (lacking := join_fault(reading.header, join, mapping)) is not None:
        fault = (lacking.rule, lacking.reason)
    if fault is not None:
        part = refused(mapping.feed, mapping, sheet, *fault, reading, place)
        return replace(part, join=join.name)
    none = LANDED.to_frame()
    parsed = _unparsed(reading)
    return ReadPart(
        mapping.feed, mapping, sheet, place, None, reading, none, parsed, join.name, is_open=True
    )


def _landed(where: Place, reading: Reading) -> pl.DataFrame:
    """All rows of a file as they came; of a row that could not be parted, what was told of it."""
    rows = reading.rows.select("line", "raw")
    if reading.faults.height:
        faulty = reading.faults.group_by("line").agg(raw=pl.col("value").first())
        rows = pl.concat([rows, faulty.select("line", "raw")]).sort("line")
    return rows.select(
        pl.lit(where.file).alias("file"), pl.lit(where.sheet).alias("sheet"), "line", "raw"
    ).cast(LANDED)


def refused(
    feed: str,
    mapping: Mapping | None,
    sheet: str,
    rule: str,
    sentence: str,
    counted: Reading | None,
    place: int = 0,
) -> ReadPart:
    """A part that is set aside whole, its rows counted and not used."""
    line = max(counted.header_line if counted else REFUSED_LINE, REFUSED_LINE)
    reason = pl.DataFrame([(line, "", "", rule, sentence)], schema=REASON_SCHEMA, orient="row")
    rows = counted.rows_read if counted else 0
    parsed = ParsedFile(pl.DataFrame(), reason, no_reasons(), rows, True, None, header_line=line)
    return ReadPart(feed, mapping, sheet, place, None, None, LANDED.to_frame(), parsed)


def may_be_template(mapping: Mapping, rows_read: int) -> bool:
    """Whether a file with so many rows under its mapping may be a template that nobody touched.

    What a mapping with `files` names is nobody's template.
    """
    return mapping.files is None and rows_read == 0


def is_template(feed: str, reading: Reading) -> bool:
    """Whether a file, as read without a mapping, has no row and names its columns as the feed
    does."""
    if reading.rows_read or not reading.header:
        return False
    names = {bare(name) for name in column_names(FEED_TABLES[feed])}
    return {bare(name) for name in reading.header} <= names


def served_twice(path: str, sheet: str, feed: str, serving: list[Mapping]) -> str:
    """The sentence for a file or sheet that more than one mapping of a feed reads."""
    names = " and ".join(mapping.name for mapping in serving)
    what = f"The sheet {sheet} of {path}" if sheet else path
    return (
        f"{what} is served for {feed} by {names}; let one of them alone name it, by files, sheets, "
        "valid_from or valid_until."
    )
