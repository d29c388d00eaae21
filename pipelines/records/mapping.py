"""How one company's exports of a feed map to it: the file mappings/<feed>.toml, checked.

Belongs here: what a mapping may say, and what it means in short. Does not belong here: checks of
its single entries (`mapping_checks`), finding the headers in a file (`headers`).
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from pathlib import Path

from pipelines.errors import WorkspaceError
from pipelines.records.dates import format_pattern
from pipelines.records.mapping_checks import PARTS, faults_of, text_of
from pipelines.records.numerals import Marks
from pipelines.records.units_of_measure import Conversion, conversion
from pipelines.workspace.toml_file import dotted, read_toml


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
        told = {name: value for name, value in vars(self).items() if name != "marks"}
        told |= {"decimal": self.marks.decimal, "thousands": self.marks.thousands}
        return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()

    def conversion(self, column: str) -> Conversion:
        """How values of a column become the feed's unit."""
        unit = self.units.get(column)
        found = conversion(column, unit) if unit is not None else Conversion()
        if found is None:
            raise AssertionError(f"{self.name} was not checked: {column} in {unit}")
        return found


def load_mapping(path: Path, feed: str) -> Mapping:
    """The mapping of a feed, from its TOML file.

    Raises:
        WorkspaceError: one sentence for each fault, with file, line, key and remedy.
    """
    file = read_toml(path, f"mappings/{path.name}")
    faults = [f"{file.at(key)}: {dotted(key)} {told}" for key, told in faults_of(feed, file.data)]
    if faults:
        raise WorkspaceError(*faults)
    data = {part: file.data[part] for part in PARTS if part in file.data}
    analytes = data.get("analytes")
    return Mapping(
        feed,
        file.name,
        Marks(data.get("decimal", "."), data.get("thousands")),
        tuple(data.get("dates", ())),
        data.get("layout", "wide"),
        dict(data.get("columns", {})),
        dict(data.get("units", {})),
        {column: text_of(value) for column, value in data.get("constants", {}).items()},
        None if analytes is None else {_key(name): column for name, column in analytes.items()},
        {
            column: {_key(word): text_of(value) for word, value in words.items()}
            for column, words in data.get("values", {}).items()
        },
    )


def _key(text: str) -> str:
    return text.strip().lower()
