"""Reads one export: a text file as each mapping reads it, a workbook sheet by sheet.

Belongs here: from a file to its parts, none of them lost. Does not belong here: which mapping
serves what (`pipelines.records.serving`), the store (`landing`), accounts over files (`ingest`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import polars as pl

from pipelines.exports.header_rows import HeaderSought, bare
from pipelines.exports.limits import TOO_MANY_COLUMNS, Limits
from pipelines.exports.reading import FileFault, Reading
from pipelines.exports.sheets import read_workbook, sheet_reading
from pipelines.exports.text_rows import read_rows
from pipelines.exports.workbook_process import Sheet
from pipelines.records.feed_file import ParsedFile, parse_file, parse_written
from pipelines.records.headers import (
    expected_headers,
    header_sought,
)
from pipelines.records.join_entries import Join
from pipelines.records.join_headers import join_fault, join_sought
from pipelines.records.left_out import LEFT_OUT
from pipelines.records.mapping import Mapping
from pipelines.records.reasons import REASON_SCHEMA, no_reasons
from pipelines.records.row_cells import Place
from pipelines.records.serving import named_day, sheet_left_out, takes_sheet
from pipelines.store.deliveries import Delivered
from pipelines.store.inputs import Inputs
from pipelines.workspace.settings import Settings
from schemas.codes import DESK_FILE
from schemas.columns import column_names
from schemas.feeds import FEED_TABLES

LANDED = pl.Schema({"file": pl.String, "sheet": pl.String, "line": pl.Int64, "raw": pl.String})
WORKBOOK = ".xlsx"
REFUSED_LINE = 1


@dataclass(frozen=True)
class ReadPart:
    """One file, or one sheet of a workbook, as one mapping reads it.

    `feed` is empty where it is of none; `place` is the number of the sheet in its workbook; `join`
    names the join that reads it, and is empty where it is one of the mapping's own files. `header`
    goes on with the headers of its joins, where there are any. A part of a mapping with joins that
    `is_open` is parsed once all files of the mapping have been read (`joined_parts`).
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
            "named_date": self.named_date,
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
    """Every part of a file; at least one."""
    refusal = file.found.refusal
    if file.found.path == DESK_FILE:
        yield from _desk_parts(inputs, file)
    elif refusal is not None:
        counted = None
        if refusal[0] == "no_feed":  # read only so that its rows are counted
            counted = _counted(inputs, file.found.absolute)
        yield refused("", None, "", *refusal, counted)
    elif is_workbook(file.found.absolute):
        yield from _Workbook(inputs, file).parts()
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


def is_workbook(path: Path) -> bool:
    """Whether a file is read as a workbook."""
    return path.name.casefold().endswith(WORKBOOK)


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


def _counted(inputs: Inputs, path: Path) -> Reading:
    if is_workbook(path):
        limits = limits_of(inputs.settings)
        return sheet_reading(read_workbook(path, limits)[0], limits)
    return _read_text(inputs.settings, path, [], HeaderSought())


def _text_parts(inputs: Inputs, file: Delivered) -> Iterator[ReadPart]:
    path = file.found.path
    for mapping, number in file.joining:
        join = mapping.joins[number]
        sought = join_sought(join)
        reading = _read_text(inputs.settings, file.found.absolute, list(join.needed), sought)
        yield _joined_part(mapping, number, reading, "", 0)
    for feed, serving in sorted(file.serving.items()):
        reading = read_text(inputs.settings, file.found.absolute, feed, serving[0])
        if len(serving) > 1:
            yield refused(feed, None, "", "two_mappings", _two(path, "", feed, serving), reading)
            continue
        mapping = serving[0]
        if _is_template(feed, reading, mapping):
            mapping = Mapping.plain(feed)
            reading = read_text(inputs.settings, file.found.absolute, feed, mapping)
        yield _read(inputs, file, feed, mapping, reading, "", 0)


def _is_template(feed: str, reading: Reading, mapping: Mapping) -> bool:
    """Whether a file without a row names its columns as the feed does."""
    if mapping.files is not None or reading.rows_read or not reading.header:
        return False
    names = {bare(name) for name in column_names(FEED_TABLES[feed])}
    return {bare(name) for name in reading.header} <= names


def _two(path: str, sheet: str, feed: str, serving: list[Mapping]) -> str:
    names = " and ".join(mapping.name for mapping in serving)
    what = f"The sheet {sheet} of {path}" if sheet else path
    return (
        f"{what} is served for {feed} by {names}; let one of them alone name it, by files, sheets, "
        "valid_from or valid_until."
    )


def _read(
    inputs: Inputs,
    file: Delivered,
    feed: str,
    mapping: Mapping,
    reading: Reading,
    sheet: str,
    place: int,
) -> ReadPart:
    where = Place(file.found.path, sheet)
    day = named_day(mapping, file.found.path)
    landed = _landed(where, reading)
    if mapping.joins and reading.fault is None:
        return ReadPart(
            feed, mapping, sheet, place, day, reading, landed, _unparsed(reading), is_open=True
        )
    corrections = inputs.recorded.corrections(feed)
    parsed = parse_file(
        feed, reading, mapping, inputs.settings.timezone, where, corrections=corrections
    )
    return ReadPart(
        feed, mapping, sheet, place, day, reading, landed, parsed, header=reading.header
    )


def _unparsed(reading: Reading) -> ParsedFile:
    """What is known of a part before it is parsed."""
    none = no_reasons()
    line = reading.header_line
    return ParsedFile(
        pl.DataFrame(), none, none, reading.rows_read, False, None, header_line=max(line, 1)
    )


def _joined_part(
    mapping: Mapping, number: int, reading: Reading, sheet: str, place: int
) -> ReadPart:
    """A file or sheet that a join reads; set aside whole where it lacks what the join names."""
    join = mapping.joins[number]
    fault = None if reading.fault is None else (reading.fault.rule, reading.fault.sentence)
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
    faulty = reading.faults.group_by("line").agg(raw=pl.col("value").first())
    return (
        pl.concat([reading.rows.select("line", "raw"), faulty.select("line", "raw")])
        .select(pl.lit(where.file).alias("file"), pl.lit(where.sheet).alias("sheet"), "line", "raw")
        .cast(LANDED)
        .sort("line")
    )


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


class _Workbook:
    """The sheets of one workbook, and what each mapping makes of them."""

    def __init__(self, inputs: Inputs, file: Delivered) -> None:
        self.inputs, self.file = inputs, file
        self.limits = limits_of(inputs.settings)
        self.sheets = read_workbook(file.found.absolute, self.limits)
        self.parts_of: dict[int, list[ReadPart]] = {place: [] for place in range(len(self.sheets))}

    def parts(self) -> Iterator[ReadPart]:
        """At least one part a sheet, in the order of the sheets."""
        for feed, serving in sorted(self.file.serving.items()):
            for place, sheet in enumerate(self.sheets):
                self.parts_of[place] += self._of_feed(feed, serving, place, sheet)
        for feed, serving in sorted(self.file.serving.items()):
            if not any(
                part.feed == feed and part.reading is not None
                for parts in self.parts_of.values()
                for part in parts
            ):
                self._set_first_aside(feed, serving[0])
        for mapping, number in self.file.joining:
            self._join(mapping, number)
        for place, sheet in enumerate(self.sheets):
            yield from self.parts_of[place] or [self._of_no_mapping(place, sheet)]

    def _join(self, mapping: Mapping, number: int) -> None:
        """The sheets that a join reads; where there is none, the first tells what it lacks."""
        join, parts = mapping.joins[number], []
        for place, sheet in enumerate(self.sheets):
            out = sheet_left_out(mapping, sheet.name, join.name)
            if out is not None and sheet.cells is not None:
                part = self._left_out(mapping.feed, mapping, out, place, sheet)
                parts.append(replace(part, join=join.name, named_date=None))
            elif self._is_joined(mapping, join, sheet):
                parts.append(self._joined(mapping, number, place, sheet))
        if join.sheets is None and not any(part.reading is not None for part in parts):
            free = [place for place, known in self.parts_of.items() if not known]
            written = [place for place in free if _has_cells(self.sheets[place])]
            parts += [self._joined(mapping, number, p, self.sheets[p]) for p in written[:1]]
        for part in parts:
            self.parts_of[part.place].append(part)

    def _is_joined(self, mapping: Mapping, join: Join, sheet: Sheet) -> bool:
        """Whether a join reads a sheet: it names it, or finds there all that it names.

        The second not where the mapping reads it as one of its own.
        """
        named = takes_sheet(join, sheet.name)
        if named is not None:
            return named and (_has_cells(sheet) or sheet.cells is None)
        if sheet.cells is None or not _has_cells(sheet):
            return False
        own = mapping in self.file.serving.get(mapping.feed, [])
        if own and self._takes(mapping.feed, mapping, sheet):
            return False
        return join_fault(self._as_joined(join, sheet).header, join, mapping) is None

    def _as_joined(self, join: Join, sheet: Sheet) -> Reading:
        return sheet_reading(sheet, self.limits, join_sought(join))

    def _joined(self, mapping: Mapping, number: int, place: int, sheet: Sheet) -> ReadPart:
        reading = self._as_joined(mapping.joins[number], sheet)
        return _joined_part(mapping, number, reading, sheet.name, place)

    def _of_feed(
        self, feed: str, serving: list[Mapping], place: int, sheet: Sheet
    ) -> Iterator[ReadPart]:
        left = [(one, sheet_left_out(one, sheet.name)) for one in serving]
        out = next(((one, entry) for one, entry in left if entry is not None), None)
        if out is not None and sheet.cells is not None:
            yield self._left_out(feed, out[0], out[1], place, sheet)
            return
        if sheet.cells is None:  # beyond a limit, or broken: nobody can tell what stands there
            yield from self._beyond(feed, serving, place, sheet, sheet.fault)
            return
        taking = [one for one in serving if self._takes(feed, one, sheet)]
        if not taking:
            wide = self._reading(feed, serving[0], sheet)
            if wide.fault is not None and wide.fault.rule == TOO_MANY_COLUMNS:
                yield from self._beyond(feed, serving, place, sheet, wide.fault, wide)
            return
        reading = self._reading(feed, taking[0], sheet)
        if len(taking) > 1:
            told = _two(self.file.found.path, sheet.name, feed, taking)
            yield refused(feed, None, sheet.name, "two_mappings", told, reading, place)
        elif _is_template(feed, reading, taking[0]):
            yield self._read(feed, Mapping.plain(feed), place, sheet)
        else:
            yield self._read(feed, taking[0], place, sheet)

    def _beyond(
        self,
        feed: str,
        serving: list[Mapping],
        place: int,
        sheet: Sheet,
        fault: FileFault | None,
        counted: Reading | None = None,
    ) -> Iterator[ReadPart]:
        """A sheet beyond a limit, or broken, under the first mapping that may be for it."""
        chosen = [one for one in serving if takes_sheet(one, sheet.name) is not False]
        if chosen and fault is not None:
            told = f"The sheet {sheet.name}: {fault.sentence}" if sheet.name else fault.sentence
            yield refused(feed, chosen[0], sheet.name, fault.rule, told, counted, place)

    def _takes(self, feed: str, mapping: Mapping, sheet: Sheet) -> bool:
        """Whether a mapping reads a sheet: it names it, or finds its header there in full."""
        if any(takes_sheet(join, sheet.name) for join in self._own_joins(mapping)):
            return False
        named = takes_sheet(mapping, sheet.name)
        if named is not None:
            return named and _has_cells(sheet)
        if not _has_cells(sheet):
            return False
        reading, sought = self._reading(feed, mapping, sheet), header_sought(feed, mapping)
        if _is_template(feed, reading, mapping):
            return True
        return sought.held(reading.header) == len(sought.needed)

    def _own_joins(self, mapping: Mapping) -> list[Join]:
        """The joins of a mapping that read this workbook."""
        return [mapping.joins[number] for one, number in self.file.joining if one is mapping]

    def _reading(self, feed: str, mapping: Mapping, sheet: Sheet) -> Reading:
        return sheet_reading(sheet, self.limits, header_sought(feed, mapping))

    def _read(self, feed: str, mapping: Mapping, place: int, sheet: Sheet) -> ReadPart:
        reading = self._reading(feed, mapping, sheet)
        return _read(self.inputs, self.file, feed, mapping, reading, sheet.name, place)

    def _left_out(
        self, feed: str, mapping: Mapping, entry: tuple[int, str], place: int, sheet: Sheet
    ) -> ReadPart:
        rows = _height(sheet)
        left = pl.DataFrame([(1, *entry)], schema=LEFT_OUT, orient="row")
        parsed = ParsedFile(
            pl.DataFrame(),
            no_reasons(),
            no_reasons(),
            rows,
            False,
            None,
            left_out=left if rows else left.clear(),
            sheet_rows_left_out=rows,
        )
        day = named_day(mapping, self.file.found.path)
        none = LANDED.to_frame()
        return ReadPart(feed, mapping, sheet.name, place, day, None, none, parsed)

    def _set_first_aside(self, feed: str, mapping: Mapping) -> None:
        """A workbook of a feed in which no sheet is read tells what its first one lacks."""
        told = any(
            part.feed == feed and part.parsed.is_whole
            for parts in self.parts_of.values()
            for part in parts
        )
        if any(one.feed == feed for one, _ in self.file.joining):
            return
        free = [place for place, parts in self.parts_of.items() if not parts]
        written = [place for place in free if _has_cells(self.sheets[place])]
        if told or any(sheet.fault for sheet in self.sheets):
            return
        if written:
            place = written[0]
        elif not any(_has_cells(sheet) for sheet in self.sheets):
            place = 0
        else:
            return
        self.parts_of[place].append(self._read(feed, mapping, place, self.sheets[place]))

    def _of_no_mapping(self, place: int, sheet: Sheet) -> ReadPart:
        """A sheet that no mapping reads; without a cell it is nothing but a line of zeros."""
        if sheet.cells is None and sheet.fault:
            told = f"The sheet {sheet.name}: {sheet.fault.sentence}"
            return refused("", None, sheet.name, sheet.fault.rule, told, None, place)
        if not _has_cells(sheet):
            parsed = ParsedFile(pl.DataFrame(), no_reasons(), no_reasons(), 0, False, None)
            none = LANDED.to_frame()
            return ReadPart("", None, sheet.name, place, None, None, none, parsed)
        sentence = (
            f"The sheet {sheet.name} of {self.file.found.path} is read by no mapping; name it "
            "under sheets in a mapping, which `limeledger map` drafts, or leave it out: "
            "[[leave_out]] with reason and sheets."
        )
        part = refused("", None, sheet.name, "no_mapping", sentence, None, place)
        return replace(part, parsed=replace(part.parsed, rows_read=_height(sheet)))


def _has_cells(sheet: Sheet) -> bool:
    return _height(sheet) > 0


def _height(sheet: Sheet) -> int:
    """How many rows of a sheet hold something."""
    return 0 if sheet.cells is None else sheet.cells.text.height
