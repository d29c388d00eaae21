"""How one company's exports of a feed map to it: a file below mappings/, checked.

Belongs here: what a mapping may say, and what it means in short. Does not belong here: checks of
its single entries (`mapping_checks`), finding the headers in a file (`headers`).
"""

from __future__ import annotations

import datetime as dt
import hashlib
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pipelines.errors import WorkspaceError
from pipelines.records.dates import format_pattern
from pipelines.records.entries import (
    OF_JOIN,
    Several,
    column_of,
    key_of,
    leave_out_of,
    named_header,
    phrase_of,
    several_of,
    step_of,
)
from pipelines.records.join_entries import Join, join_of
from pipelines.records.left_out import LeaveOut
from pipelines.records.mapping_checks import PARTS, faults_of, text_of
from pipelines.records.numerals import Marks
from pipelines.records.phrases import Phrase
from pipelines.records.scope_checks import feed_fault, feed_of
from pipelines.records.steps import Step
from pipelines.records.units_of_measure import Conversion, conversion
from pipelines.workspace.toml_file import TomlFile, dotted, read_toml


@dataclass(frozen=True)
class Mapping:
    """What a mapping says; every part is empty where the file leaves it out.

    Attributes:
        feed: the feed that it is for.
        name: the file as people know it, `mappings/<feed>.toml`.
        marks: how numbers are written.
        dates: date formats besides ISO 8601, as written.
        layout: `wide`, or `long` with one row an analyte.
        columns: the feed's column (or long part) to the export's header.
        units: the feed's column to the unit that it arrives in.
        constants: the feed's column to the text of its value in every row.
        analytes: the laboratory's name in lower case to the feed's column; None where the mapping
            has no such table, and analytes go by the names of the columns.
        values: the feed's column to its translations, the export's text in lower case first.
        files, sheets: patterns of the paths and sheet names that it is for; None: all of its feed.
        header_row: the line of the header; None where it is to be found.
        file_date: how days are written in file names; None: YYYY-MM-DD.
        valid_from, valid_until: the days in file names for which it holds, both included.
        several: the feed's column to the headers that it comes from together.
        transforms: the feed's column to its steps.
        phrases: the feed's column to the phrases that give codes.
        leave_out: the rows and sheets that are meant to stay out.
        bases: the laboratory's name in lower case to what its results are expressed as.
        joins: the files that are joined to each of its own, in their order. A header of one is
            named as in `entries.named_header` wherever a header is named.
        aliases: by the feed's column what cells mean (`pipelines.records.aliases`).
        file: the file's name; empty where there is no file.
    """

    feed: str
    name: str
    marks: Marks = field(default_factory=Marks)
    dates: tuple[str, ...] = ()
    layout: str = "wide"
    columns: dict[str, str] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    constants: dict[str, str] = field(default_factory=dict)
    analytes: dict[str, str] | None = None
    values: dict[str, dict[str, str]] = field(default_factory=dict)
    files: tuple[str, ...] | None = None
    sheets: tuple[str, ...] | None = None
    header_row: int | None = None
    file_date: str | None = None
    valid_from: dt.date | None = None
    valid_until: dt.date | None = None
    several: dict[str, Several] = field(default_factory=dict)
    transforms: dict[str, tuple[Step, ...]] = field(default_factory=dict)
    phrases: dict[str, tuple[Phrase, ...]] = field(default_factory=dict)
    leave_out: tuple[LeaveOut, ...] = ()
    bases: dict[str, str] = field(default_factory=dict)
    joins: tuple[Join, ...] = ()
    aliases: dict[str, dict[str, str]] = field(default_factory=dict)
    file: str = field(default="", compare=False)

    @classmethod
    def plain(cls, feed: str) -> Mapping:
        """The mapping of a feed whose exports are written as the feed's own columns."""
        return cls(feed, f"mappings/{feed}.toml")

    @property
    def is_long(self) -> bool:
        """Whether a row is one analyte of a sample."""
        return self.layout == "long"

    @property
    def date_patterns(self) -> tuple[str, ...]:
        """The regular expressions of the date formats."""
        return tuple(format_pattern(form) for form in self.dates)

    @property
    def fingerprint(self) -> str:
        """A hash that changes whenever rows could be read in another way."""
        parts = {name: _in_order(value) for name, value in vars(self).items() if name != "file"}
        return hashlib.sha256(repr(sorted(parts.items())).encode()).hexdigest()

    @property
    def split_column(self) -> str | None:
        """The column whose cells are split into rows; None where none is."""
        return next(
            (
                column
                for column, steps in self.transforms.items()
                if steps[:1] and steps[0].verb == "split"
            ),
            None,
        )

    def headers_of(self, column: str) -> tuple[str, ...]:
        """The headers from which a column comes: those that the mapping names, else its own."""
        if column in self.several:
            return self.several[column].headers
        return (self.columns.get(column, column),)

    def marks_of(self, column: str) -> Marks:
        """How numbers of a column are written: as in the joined file that it comes from."""
        return self.marks_of_header(next(iter(self.headers_of(column))))

    def marks_of_header(self, header: str) -> Marks:
        """How numbers under a header are written; sums are written as the mapping reads them."""
        name, of_join, rest = header.partition(OF_JOIN)
        join = next((one for one in self.joins if of_join and one.name == name), None)
        return self.marks if join is None or join.adds_up(rest) else join.marks

    @property
    def entries(self) -> tuple[tuple[str, LeaveOut], ...]:
        """All entries that leave rows out, each with the name of its join; empty for its own."""
        own = [("", entry) for entry in self.leave_out]
        return (*own, *((join.name, entry) for join in self.joins for entry in join.leave_out))

    def names(self, column: str) -> bool:
        """Whether the mapping names a header for the column."""
        return column in self.columns or column in self.several

    def conversion(self, column: str) -> Conversion:
        """How values of a column become the feed's unit."""
        unit = self.units.get(column)
        to_feed_unit = conversion(column, unit) if unit is not None else Conversion()
        if to_feed_unit is None:
            raise AssertionError(f"{self.name} was not checked: {column} in {unit}")
        return to_feed_unit


def load_mapping(path: Path, feed: str | None = None) -> Mapping:
    """A mapping from its TOML file; `feed` where it is known, else the one that the file tells.

    Raises:
        WorkspaceError: one sentence for each fault, with file, line, key and remedy.
    """
    file = read_toml(path, f"mappings/{path.name}")
    feed = feed or feed_of(file.data, path.stem)
    faults = [feed_fault(file.data, path.stem)] if feed is None else [*faults_of(feed, file.data)]
    if feed is None or faults:
        raise WorkspaceError(
            *(f"{_at(file, key)}: {dotted(key)} {sentence}" for key, sentence in faults)
        )
    return read_mapping(feed, file.name, file.data)


def read_mapping(feed: str, name: str, data: dict[str, Any]) -> Mapping:
    """What checked TOML says."""
    data = {part: data[part] for part in PARTS if part in data}
    analytes: dict[str, Any] | None = data.get("analytes")
    sources: dict[str, Any] = data.get("columns", {})
    names = [entry["name"] for entry in data.get("join", ())]
    marks = Marks(data.get("decimal", "."), data.get("thousands"))
    return Mapping(
        feed,
        name,
        marks,
        tuple(data.get("dates", ())),
        data.get("layout", "wide"),
        {
            column: named_header(header, names)
            for column, header in sources.items()
            if isinstance(header, str)
        },
        dict(data.get("units", {})),
        {column: text_of(value) for column, value in data.get("constants", {}).items()},
        None
        if analytes is None
        else {key_of(name): column_of(entry) for name, entry in analytes.items()},
        {
            column: {key_of(word): text_of(value) for word, value in words.items()}
            for column, words in data.get("values", {}).items()
        },
        files=tuple(data["files"]) if "files" in data else None,
        sheets=tuple(data["sheets"]) if "sheets" in data else None,
        header_row=data.get("header_row"),
        file_date=data.get("file_date"),
        valid_from=data.get("valid_from"),
        valid_until=data.get("valid_until"),
        several={
            column: several_of(entry, names)
            for column, entry in sources.items()
            if isinstance(entry, dict)
        },
        transforms={
            column: tuple(step_of(step) for step in steps)
            for column, steps in data.get("transforms", {}).items()
        },
        phrases={
            column: tuple(phrase_of(entry) for entry in entries)
            for column, entries in data.get("phrases", {}).items()
        },
        leave_out=tuple(leave_out_of(entry, names) for entry in data.get("leave_out", ())),
        bases={
            key_of(name): entry["basis"]
            for name, entry in (analytes or {}).items()
            if isinstance(entry, dict) and "basis" in entry
        },
        joins=tuple(
            join_of(entry, names[:number], marks)
            for number, entry in enumerate(data.get("join", ()))
        ),
        file=name.rpartition("/")[2],
    )


def _in_order(value: Any) -> Any:
    """A value whose text does not depend on the order of a table's lines."""
    return sorted(value.items()) if isinstance(value, dict) else value


def _at(file: TomlFile, key: tuple[str, ...]) -> str:
    """Where a key stands; a number in it says which of several entries of the same name."""
    number = next((place for place, part in enumerate(key) if part.isdigit() and place), None)
    if number is None:
        return file.at(key)
    header = re.compile(rf"\s*\[\[\s*{re.escape('.'.join(key[:number]))}\s*\]\]")
    lines = [n for n, line in enumerate(file.text.split("\n"), 1) if header.match(line)]
    count = int(key[number])
    if count > len(lines):
        return file.at(key[:number])
    return f"{file.name} line {lines[count - 1]}, column 1"
