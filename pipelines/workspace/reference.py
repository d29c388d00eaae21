"""The reference files as typed frames, or one error that lists every fault in them.

Belongs here: reading the files by their table classes. Does not belong here: the form of a CSV
(`small_csv`), one value (`values`), checks between rows (`reference_checks`), columns (`schemas`).
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from pipelines.errors import WorkspaceError
from pipelines.workspace.layout import find
from pipelines.workspace.reference_checks import Fault, Row, aliases_of_nothing, between_rows
from pipelines.workspace.settings import Settings
from pipelines.workspace.small_csv import FormFault, SmallFile, read_small_csv
from pipelines.workspace.toml_file import show
from pipelines.workspace.values import ValueFault, read_value
from schemas.columns import fields, polars_schema
from schemas.reference import (
    ALL_REFERENCE_TABLES,
    OPTIONAL_REFERENCE_TABLES,
    REFERENCE_TABLES,
)
from schemas.validation import SchemaErrors

OPTIONAL_COLUMNS = ("tile_row", "tile_col", "catch_all", "weight", "email")
_OF_LOTS = ("model", "note")
# Columns that their file calls otherwise than the table; the table's own names do as well.
HEADERS = {"phrases": {"cause_class": "class"}}
_NOUNS = {
    "aliases.kind": "kind of alias",
    "kind": "kind of treatment product",
    "removes": "ability of a treatment",
    "abilities": "ability of a treatment",
    "class": "class of causes",
    "cause_class": "class of causes",
    "reading": "reading that a start-up report has",
    "delime_by": "answer to who delimes",
}
_EMPTY: dict[tuple[str, str], Any] = {
    ("treatments", "capacity_l"): 0.0,  # none is stated
    ("phrases", "weight"): 1.0,
}
_LIMITS = {
    "greater_than_or_equal_to(0)": "is below 0; write a number that is 0 or more.",
    "greater_than_or_equal_to(1)": "is below 1; write a whole number that is 1 or more.",
    "greater_than(0)": "is not above 0; write a number above 0, or leave the field empty.",
    "less_than_or_equal_to(1)": "is above 1; write a number above 0 that is 1 or less.",
}


@dataclass(frozen=True)
class Reference:
    """One frame a reference file, of the types of `schemas.reference`; `sha256` is by file."""

    models: pl.DataFrame
    treatments: pl.DataFrame
    causes: pl.DataFrame
    agencies: pl.DataFrame
    regions: pl.DataFrame
    phrases: pl.DataFrame
    aliases: pl.DataFrame
    lots: pl.DataFrame
    sha256: dict[str, str]

    @property
    def families(self) -> list[str]:
        """All families of models, sorted."""
        return self.models["family"].unique().sort().to_list()

    @property
    def abilities(self) -> list[str]:
        """What the treatment systems remove, taken together, sorted."""
        systems = self.treatments.filter(pl.col("kind") == "system")
        return systems["removes"].explode(empty_as_null=False).unique().sort().to_list()


def load_reference(folder: Path, settings: Settings) -> Reference:
    """Reads the reference files; the optional ones are empty frames where they are not there.

    Raises:
        WorkspaceError: one sentence for each fault of all files, with file, line and column.
    """
    if not folder.is_dir():
        raise WorkspaceError(
            f"the folder {folder.name}/ is missing; it holds "
            f"{', '.join(f'{name}.csv' for name in REFERENCE_TABLES)}."
        )
    frames: dict[str, pl.DataFrame] = {}
    files: dict[str, SmallFile] = {}
    sha256: dict[str, str] = {}
    faults: list[str] = []
    for table, columns in ALL_REFERENCE_TABLES.items():
        path = find(folder, f"{table}.csv")
        if table in OPTIONAL_REFERENCE_TABLES and not os.path.lexists(path):
            frames[table] = pl.DataFrame(schema=polars_schema(columns))
            continue
        try:
            file = _read(path, f"{folder.name}/{path.name}", table, settings.max_file_mb)
            frames[table] = _typed(file, table)
            files[table], sha256[file.name] = file, file.sha256
        except FormFault as fault:
            faults.append(str(fault))
        except WorkspaceError as error:
            faults += error.faults
    if "aliases" in files:
        lines = [line for line, _ in files["aliases"].rows]
        faults += _at(files["aliases"], aliases_of_nothing(frames, lines))
        frames["aliases"] = frames["aliases"].unique(maintain_order=True)
    if "lots" in files:
        frames["lots"] = frames["lots"].unique(
            ["lot", "serial_from", "serial_to", "model"], keep="first", maintain_order=True
        )
    if faults:
        raise WorkspaceError(*faults)
    return Reference(**frames, sha256=sha256)


def _read(path: Path, name: str, table: str, max_mb: int) -> SmallFile:
    columns = list(fields(ALL_REFERENCE_TABLES[table]))
    optional = _OF_LOTS if table == "lots" else OPTIONAL_COLUMNS
    return read_small_csv(path, name, columns, optional, max_mb, HEADERS.get(table))


def header_of(table: str) -> list[str]:
    """The header of a reference file, by the name of its table."""
    own = HEADERS.get(table, {})
    return [own.get(name, name) for name in fields(ALL_REFERENCE_TABLES[table])]


def _typed(file: SmallFile, table: str) -> pl.DataFrame:
    rows: list[Row] = []
    faults: list[Fault] = []
    columns = fields(ALL_REFERENCE_TABLES[table])
    for line, texts in file.rows:
        values, wrong = _values(table, columns, texts)
        rows.append((line, values))
        faults += [(line, column, sentence) for column, sentence in wrong]
    schema = polars_schema(ALL_REFERENCE_TABLES[table])
    if not faults:
        frame = pl.DataFrame([values for _, values in rows], schema=schema)
        faults += _outside_limits(frame, table, file)
        faults += between_rows(table, rows)
    if faults:
        raise WorkspaceError(*_at(file, faults))
    return frame


def _at(file: SmallFile, faults: Iterable[Fault]) -> list[str]:
    """The faults of a file with their places, by line."""
    ordered = sorted(faults, key=lambda fault: fault[0])
    return [
        f"{file.name} line {line}, column {file.headers.get(column, column)}: {sentence}"
        for line, column, sentence in ordered
    ]


def _values(
    table: str, columns: Mapping[str, Any], texts: Mapping[str, str | None]
) -> tuple[dict[str, Any], list[tuple[str, str]]]:
    values: dict[str, Any] = {}
    wrong = []
    for column, field in columns.items():
        meta, text = field.metadata or {}, texts.get(column)
        if text is None:
            values[column] = _EMPTY.get((table, column), [] if meta["kind"] == "texts" else None)
            if meta["required"] and meta["kind"] != "texts":
                wrong.append((column, "there is no value; every row needs one."))
            continue
        try:
            noun = _NOUNS.get(f"{table}.{column}") or _NOUNS.get(column, column)
            values[column] = read_value(meta["kind"], text, meta["words"] or (), noun)
        except ValueFault as fault:
            wrong.append((column, f"{show(text)} {fault}"))
    return values, wrong


def _outside_limits(frame: pl.DataFrame, table: str, file: SmallFile) -> Iterator[Fault]:
    try:
        ALL_REFERENCE_TABLES[table].validate(frame, lazy=True)
    except SchemaErrors as error:
        for index, column, check in error.failure_cases["index", "column", "check"].rows():
            why = _LIMITS.get(check, f"does not pass the check {check}; correct it.")
            line, texts = file.rows[index]
            yield line, column, f"{show(texts[column])} {why}"
