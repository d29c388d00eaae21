"""The five reference files as typed frames, or one error that lists every fault in them.

Belongs here: reading the files by their table classes, and checks between rows. Does not belong
here: the form of a CSV (`small_csv`), what a value looks like (`values`), columns (`schemas`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandera.errors
import polars as pl

from pipelines.errors import WorkspaceError
from pipelines.workspace.layout import find
from pipelines.workspace.settings import Settings
from pipelines.workspace.small_csv import FormFault, SmallFile, read_small_csv
from pipelines.workspace.toml_file import suggest
from pipelines.workspace.values import ValueFault, read_value
from schemas.columns import fields, key_columns, polars_schema
from schemas.reference import REFERENCE_TABLES

OPTIONAL_COLUMNS = ("tile_row", "tile_col")
_NOUNS = {
    "kind": "kind of treatment product",
    "removes": "ability of a treatment",
    "abilities": "ability of a treatment",
    "class": "class of causes",
    "reading": "reading that a start-up report has",
    "delime_by": "answer to who delimes",
}
_LIMITS = {
    "greater_than_or_equal_to(0)": "is below 0; write a number that is 0 or more.",
    "greater_than_or_equal_to(1)": "is below 1; write a whole number that is 1 or more.",
    "greater_than(0)": "is not above 0; write a number above 0, or leave the field empty.",
}
# Cold tap water is liquid, and a value above this is in °F.
_COLDEST, _WARMEST = 0.0, 40.0

Row = tuple[int, dict[str, Any]]  # line, values
Fault = tuple[int, str, str]  # line, column, what is wrong


@dataclass(frozen=True)
class Reference:
    """One frame a reference file, of the types of `schemas.reference`; `sha256` is by file."""

    models: pl.DataFrame
    treatments: pl.DataFrame
    causes: pl.DataFrame
    agencies: pl.DataFrame
    regions: pl.DataFrame
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
    """Reads models, treatments, causes, agencies and regions from the reference folder.

    Raises:
        WorkspaceError: one sentence for each fault of all files, with file, line and column.
    """
    if not folder.is_dir():
        raise WorkspaceError(
            f"the folder {folder.name}/ is missing; it holds "
            f"{', '.join(f'{name}.csv' for name in REFERENCE_TABLES)}."
        )
    frames: dict[str, pl.DataFrame] = {}
    sha256: dict[str, str] = {}
    told: list[str] = []
    for table in REFERENCE_TABLES:
        try:
            path = find(folder, f"{table}.csv")
            file = _read(path, f"{folder.name}/{path.name}", table, settings.max_file_mb)
            frames[table] = _typed(file, table)
            sha256[file.name] = file.sha256
        except FormFault as fault:
            told.append(str(fault))
        except WorkspaceError as error:
            told += error.faults
    if told:
        raise WorkspaceError(*told)
    return Reference(**frames, sha256=sha256)


def _read(path: Path, name: str, table: str, max_mb: int) -> SmallFile:
    columns = list(fields(REFERENCE_TABLES[table]))
    return read_small_csv(path, name, columns, OPTIONAL_COLUMNS, max_mb)


def _typed(file: SmallFile, table: str) -> pl.DataFrame:
    rows: list[Row] = []
    faults: list[Fault] = []
    for line, texts in file.rows:
        values, wrong = _values(table, texts)
        rows.append((line, values))
        faults += [(line, column, told) for column, told in wrong]
    schema = polars_schema(REFERENCE_TABLES[table])
    if not faults:
        frame = pl.DataFrame([values for _, values in rows], schema=schema)
        faults += _outside_limits(frame, table, rows)
        faults += _repeated_keys(table, rows)
        faults += _BETWEEN[table](rows)
    if faults:
        ordered = sorted(faults, key=lambda fault: fault[0])
        raise WorkspaceError(
            *(f"{file.name} line {line}, column {column}: {told}" for line, column, told in ordered)
        )
    return frame


def _values(table: str, texts: dict[str, str | None]) -> tuple[dict[str, Any], list]:
    values: dict[str, Any] = {}
    wrong = []
    for column, field in fields(REFERENCE_TABLES[table]).items():
        meta, text = field.metadata or {}, texts.get(column)
        if text is None:
            values[column] = _EMPTY.get((table, column), [] if meta["kind"] == "texts" else None)
            if meta["required"] and meta["kind"] != "texts":
                wrong.append((column, "there is no value; every row needs one."))
            continue
        try:
            noun = _NOUNS.get(column, column)
            values[column] = read_value(meta["kind"], text, meta["words"] or (), noun)
        except ValueFault as fault:
            wrong.append((column, f'"{text}" {fault}'))
    return values, wrong


def _outside_limits(frame: pl.DataFrame, table: str, rows: list[Row]) -> Iterator[Fault]:
    try:
        REFERENCE_TABLES[table].validate(frame, lazy=True)
    except pandera.errors.SchemaErrors as error:
        cases = error.failure_cases.select("index", "column", "check", "failure_case")
        for index, column, check, value in cases.rows():
            told = _LIMITS.get(check, f"does not pass the check {check}; correct it.")
            yield rows[index][0], column, f'"{value}" {told}'


def _repeated_keys(table: str, rows: list[Row]) -> Iterator[Fault]:
    if table == "agencies":  # one row a period: see _agencies
        return
    (key,) = key_columns(REFERENCE_TABLES[table])
    first: dict[str, int] = {}
    for line, values in rows:
        before = first.setdefault(values[key], line)
        if before != line:
            yield line, key, f'"{values[key]}" stands in line {before} already; keep one row.'


def _no_more(rows: list[Row]) -> Iterator[Fault]:
    return iter(())


def _treatments(rows: list[Row]) -> Iterator[Fault]:
    systems = {values["product"] for _, values in rows if values["kind"] == "system"}
    for line, values in rows:
        if values["kind"] == "cartridge" and values["fits"] is None:
            yield line, "fits", "there is no value; name the system that the cartridge is for."
        elif values["kind"] == "cartridge" and values["fits"] not in systems:
            told = (
                f'"{values["fits"]}" is no system of this file; {suggest(values["fits"], systems)}'
            )
            yield line, "fits", told
        output, at = values["rated_output_l_per_h"], values["rated_temperature_c"]
        if output is not None and at is None:
            yield (
                line,
                "rated_temperature_c",
                "there is no value, but a rated output; an output holds at one temperature, so "
                "write that.",
            )
        elif at is not None and output is None:
            yield (
                line,
                "rated_output_l_per_h",
                "there is no value, but a rated temperature; write the output, or leave both empty.",
            )


def _agencies(rows: list[Row]) -> Iterator[Fault]:
    latest: dict[str, tuple[dt.date, int]] = {}  # the end of the periods so far, and its line
    for line, values in sorted(rows, key=lambda row: (row[1]["authorized_from"], row[0])):
        agency, start = values["agency"], values["authorized_from"]
        end = values["authorized_until"] or dt.date.max
        if end < start:
            yield (
                line,
                "authorized_until",
                f'"{end}" is before authorized_from, {start}; swap or correct them.',
            )
            continue
        if agency in latest and start <= latest[agency][0]:
            yield (
                line,
                "authorized_from",
                f'"{start}" lies within the period of {agency} in line {latest[agency][1]}; '
                "end that one before, or join the two rows.",
            )
        latest[agency] = max(latest.get(agency, (end, line)), (end, line))


def _regions(rows: list[Row]) -> Iterator[Fault]:
    tiles: dict[tuple[int, int], int] = {}
    for line, values in rows:
        coldest = values["coldest_supply_c"]
        if coldest is not None and not _COLDEST <= coldest <= _WARMEST:
            yield (
                line,
                "coldest_supply_c",
                f'"{coldest:g}" is no temperature of cold supply water in °C; write 0 to 40.',
            )
        row, col = values["tile_row"], values["tile_col"]
        if (row is None) != (col is None):
            column = "tile_row" if row is None else "tile_col"
            yield line, column, "there is no value; a tile needs row and column, or neither."
        elif row is not None:
            before = tiles.setdefault((row, col), line)
            if before != line:
                told = (
                    f'"{row}" and tile_col {col} are the place of line {before}; move one of them.'
                )
                yield line, "tile_row", told


_EMPTY: dict[tuple[str, str], Any] = {("treatments", "capacity_l"): 0.0}  # none is stated
_BETWEEN = {
    "models": _no_more,
    "treatments": _treatments,
    "causes": _no_more,
    "agencies": _agencies,
    "regions": _regions,
}
