"""Checks between the rows of a reference file, and between the values of a row.

Belongs here: what one value alone cannot answer. Does not belong here: one value (`values`), the
ranges of single columns (`schemas.reference`).
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

import polars as pl

from pipelines.workspace.toml_file import show, suggest
from pipelines.workspace.values import is_address
from schemas.columns import key_columns
from schemas.reference import ALL_REFERENCE_TABLES

Row = tuple[int, dict[str, Any]]  # line, values by column
Fault = tuple[int, str, str]  # line, column, what is wrong as the rest of a sentence

# Supply water is liquid, and a value above this is in °F.
_COLDEST, _WARMEST = 0.0, 40.0


def between_rows(table: str, rows: list[Row]) -> list[Fault]:
    """Every fault between the typed rows of one reference file."""
    if table == "agencies":  # one row a period, so an agency may stand there again
        return list(_agencies(rows))
    if table == "aliases":  # told twice alike does no harm
        return list(_aliases(rows))
    if table == "lots":  # a lot may have several ranges
        return list(_lots(rows))
    return [*_repeated_keys(table, rows), *_MORE.get(table, _none)(rows)]


def _none(rows: list[Row]) -> Iterator[Fault]:
    return iter(())


def _repeated_keys(table: str, rows: list[Row]) -> Iterator[Fault]:
    (key,) = key_columns(ALL_REFERENCE_TABLES[table])
    first: dict[str, int] = {}
    for line, values in rows:
        before = first.setdefault(values[key], line)
        if before != line:
            yield line, key, f"{show(values[key])} stands in line {before} already; keep one row."


def _treatments(rows: list[Row]) -> Iterator[Fault]:
    systems = {values["product"] for _, values in rows if values["kind"] == "system"}
    for line, values in rows:
        fits = values["fits"]
        if values["kind"] == "cartridge" and fits is None:
            yield line, "fits", "there is no value; name the system that the cartridge is for."
        elif values["kind"] == "cartridge" and fits not in systems:
            yield line, "fits", f"{show(fits)} is no system of this file; {suggest(fits, systems)}"
        output, at = values["rated_output_l_per_h"], values["rated_temperature_c"]
        if output is not None and at is None:
            fault = "there is no value; an output holds at one temperature, so write that."
            yield line, "rated_temperature_c", fault
        elif at is not None and output is None:
            fault = "there is no value, but a rated temperature; write the output, or empty both."
            yield line, "rated_output_l_per_h", fault


def _agencies(rows: list[Row]) -> Iterator[Fault]:
    latest: dict[str, tuple[dt.date, int]] = {}  # the latest end so far, and its line
    for line, values in sorted(rows, key=lambda row: (row[1]["authorized_from"], row[0])):
        agency, start = values["agency"], values["authorized_from"]
        if values["email"] is not None and not is_address(values["email"]):
            fault = "is no mail address; write one alone, such as claims@agency.example."
            yield line, "email", f"{show(values['email'])} {fault}"
        end = values["authorized_until"] or dt.date.max
        if end < start:
            fault = f'"{end}" is before authorized_from, {start}; swap or correct them.'
            yield line, "authorized_until", fault
            continue
        if agency in latest and start <= latest[agency][0]:
            other = latest[agency][1]
            fault = (
                f'"{start}" lies within the period of {agency} in line {other}; '
                "end that one before, or join the two rows."
            )
            yield line, "authorized_from", fault
        latest[agency] = max(latest.get(agency, (end, line)), (end, line))


def _regions(rows: list[Row]) -> Iterator[Fault]:
    tiles: dict[tuple[int, int], int] = {}
    for line, values in rows:
        coldest = values["coldest_supply_c"]
        if coldest is not None and not _COLDEST <= coldest <= _WARMEST:
            fault = f'"{coldest:g}" is no temperature of supply water in °C; write 0 to 40.'
            yield line, "coldest_supply_c", fault
        row, col = values["tile_row"], values["tile_col"]
        if (row is None) != (col is None):
            column = "tile_row" if row is None else "tile_col"
            yield line, column, "there is no value; a tile needs row and column, or neither."
        elif row is not None:
            before = tiles.setdefault((row, col), line)
            if before != line:
                fault = f'"{row}" with tile_col {col} is the place of line {before}; move one.'
                yield line, "tile_row", fault


def _phrases(rows: list[Row]) -> Iterator[Fault]:
    first: dict[str, int] = {}
    for line, values in rows:
        phrase = values["phrase"]
        if sum(map(str.isalnum, phrase)) < 2:
            fault = f"{show(phrase)} is too short to tell anything; write two letters or more."
            yield line, "phrase", fault
        plain = " ".join(phrase.casefold().split())
        before = first.setdefault(plain, line)
        # What is written alike to the letter is told as a repeated key already.
        if before != line and phrase not in {v["phrase"] for at, v in rows if at == before}:
            fault = f"{show(phrase)} stands in line {before} already, case aside; keep one row."
            yield line, "phrase", fault


def _aliases(rows: list[Row]) -> Iterator[Fault]:
    first: dict[tuple[str, str], tuple[str, int]] = {}
    for line, values in rows:
        written, means = values["written"], values["means"]
        key = values["kind"], " ".join(written.split()).lower()
        before, other = first.setdefault(key, (means, line))
        if before != means:
            fault = f"{show(written)} means {show(before)} in line {other}; keep one meaning."
            yield line, "written", fault


def _lots(rows: list[Row]) -> Iterator[Fault]:
    for line, values in rows:
        first, last = serial_order(values["serial_from"]), serial_order(values["serial_to"])
        if first[0] != last[0]:
            fault = (
                f"{show(values['serial_to'])} has other letters than serial_from, "
                f"{show(values['serial_from'])}; write one row for each."
            )
            yield line, "serial_to", fault
        elif last < first:
            fault = (
                f"{show(values['serial_to'])} comes before serial_from, "
                f"{show(values['serial_from'])}; swap or correct them."
            )
            yield line, "serial_to", fault


def serial_order(serial: str) -> tuple[str, tuple[int, ...]]:
    """How serials of lots compare: by their text without digits, then by their numbers."""
    return re.sub(r"\d+", "", serial), tuple(int(run) for run in re.findall(r"\d+", serial))


def aliases_of_nothing(frames: Mapping[str, pl.DataFrame], lines: Sequence[int]) -> Iterator[Fault]:
    """The aliases whose meaning the reference file of their kind does not have.

    Args:
        frames: the reference files that are sound, by name, among them `aliases`.
        lines: where each alias stands.
    """
    known = {kind: set(frames[file][kind]) for kind, file in _MEANT.items() if file in frames}
    for line, (kind, means) in zip(
        lines, frames["aliases"].select("kind", "means").iter_rows(), strict=True
    ):
        code = means.upper() if kind == "region" else means
        if kind in known and code not in known[kind]:
            fault = f"{show(means)} is not in {_MEANT[kind]}.csv; {suggest(means, known[kind])}"
            yield line, "means", fault


# Where the codes of a kind of alias stand; sites and sellers have no file.
_MEANT = {
    "agency": "agencies",
    "product": "treatments",
    "model": "models",
    "cause": "causes",
    "region": "regions",
}
_MORE: dict[str, Callable[[list[Row]], Iterator[Fault]]] = {
    "treatments": _treatments,
    "regions": _regions,
    "phrases": _phrases,
}
