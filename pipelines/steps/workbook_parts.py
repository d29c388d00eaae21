"""The parts of a workbook: what each mapping and each join makes of its sheets.

Belongs here: which sheet is read by whom. Does not belong here: reading a sheet's cells
(`pipelines.exports.sheets`), or what a part is (`read_part`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import polars as pl

from pipelines.exports.limits import TOO_MANY_COLUMNS, Limits
from pipelines.exports.reading import FileFault, Reading
from pipelines.exports.sheets import read_workbook, sheet_reading
from pipelines.exports.workbook_process import Sheet
from pipelines.records.feed_file import ParsedFile
from pipelines.records.headers import header_sought
from pipelines.records.join_entries import Join
from pipelines.records.join_headers import join_fault, join_sought
from pipelines.records.left_out import LEFT_OUT
from pipelines.records.mapping import Mapping
from pipelines.records.reasons import no_reasons
from pipelines.records.serving import named_day, sheet_left_out, takes_sheet
from pipelines.steps.read_part import (
    LANDED,
    ReadPart,
    is_template,
    joined_part,
    may_be_template,
    parsed_part,
    refused,
    served_twice,
)
from pipelines.store.deliveries import Delivered
from pipelines.store.inputs import Inputs


class WorkbookParts:
    """The sheets of one workbook, and what each mapping makes of them."""

    def __init__(self, inputs: Inputs, file: Delivered, limits: Limits) -> None:
        self.inputs, self.file, self.limits = inputs, file, limits
        self.sheets = read_workbook(file.export.absolute, self.limits)
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

    def of_no_feed(self, rule: str, sentence: str) -> Iterator[ReadPart]:
        """The sheets of a workbook that nothing names: the first that holds a cell as a file would
        be set aside, the others as those that no mapping reads."""
        first = next((p for p, sheet in enumerate(self.sheets) if _has_cells(sheet)), 0)
        for place, sheet in enumerate(self.sheets):
            if place == first:
                counted = sheet_reading(sheet, self.limits)
                yield refused("", None, sheet.name, rule, sentence, counted, place)
            else:
                yield self._of_no_mapping(place, sheet)

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
        is_named = takes_sheet(join, sheet.name)
        if is_named is not None:
            return is_named and (_has_cells(sheet) or sheet.cells is None)
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
        return joined_part(mapping, number, reading, sheet.name, place)

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
            sentence = served_twice(self.file.export.path, sheet.name, feed, taking)
            yield refused(feed, None, sheet.name, "two_mappings", sentence, reading, place)
        elif self._is_template(feed, taking[0], sheet):
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
            sentence = f"The sheet {sheet.name}: {fault.sentence}" if sheet.name else fault.sentence
            yield refused(feed, chosen[0], sheet.name, fault.rule, sentence, counted, place)

    def _takes(self, feed: str, mapping: Mapping, sheet: Sheet) -> bool:
        """Whether a mapping reads a sheet: it names it, or finds its header there in full."""
        if any(takes_sheet(join, sheet.name) for join in self._own_joins(mapping)):
            return False
        if self._is_template(feed, mapping, sheet):
            return True
        is_named = takes_sheet(mapping, sheet.name)
        if is_named is not None:
            return is_named and _has_cells(sheet)
        if not _has_cells(sheet):
            return False
        reading, sought = self._reading(feed, mapping, sheet), header_sought(feed, mapping)
        return sought.held(reading.header) == len(sought.needed)

    def _is_template(self, feed: str, mapping: Mapping, sheet: Sheet) -> bool:
        """Whether a sheet holds the names of the feed's columns and nothing else."""
        may_be = may_be_template(mapping, _height(sheet) - 1)
        return may_be and is_template(feed, self._reading(feed, Mapping.plain(feed), sheet))

    def _own_joins(self, mapping: Mapping) -> list[Join]:
        """The joins of a mapping that read this workbook."""
        return [mapping.joins[number] for one, number in self.file.joining if one is mapping]

    def _reading(self, feed: str, mapping: Mapping, sheet: Sheet) -> Reading:
        return sheet_reading(sheet, self.limits, header_sought(feed, mapping))

    def _read(self, feed: str, mapping: Mapping, place: int, sheet: Sheet) -> ReadPart:
        reading = self._reading(feed, mapping, sheet)
        return parsed_part(self.inputs, self.file, feed, mapping, reading, sheet.name, place)

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
        day = named_day(mapping, self.file.export.path)
        none = LANDED.to_frame()
        return ReadPart(feed, mapping, sheet.name, place, day, None, none, parsed)

    def _set_first_aside(self, feed: str, mapping: Mapping) -> None:
        """A workbook of a feed in which no sheet is read tells what its first one lacks."""
        already_refused = any(
            part.feed == feed and part.parsed.is_whole
            for parts in self.parts_of.values()
            for part in parts
        )
        if any(one.feed == feed for one, _ in self.file.joining):
            return
        free = [place for place, parts in self.parts_of.items() if not parts]
        written = [place for place in free if _has_cells(self.sheets[place])]
        if already_refused or any(sheet.fault for sheet in self.sheets):
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
            reason = f"The sheet {sheet.name}: {sheet.fault.sentence}"
            return refused("", None, sheet.name, sheet.fault.rule, reason, None, place)
        if not _has_cells(sheet):
            parsed = ParsedFile(pl.DataFrame(), no_reasons(), no_reasons(), 0, False, None)
            none = LANDED.to_frame()
            return ReadPart("", None, sheet.name, place, None, None, none, parsed)
        sentence = (
            f"The sheet {sheet.name} of {self.file.export.path} is read by no mapping; name it "
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
