"""What may be wrong with a mapping, each fault with the key at which it stands.

Belongs here: the checks of single entries and between them. Does not belong here: reading the
file (`mapping`), what the values of an export look like (`parsing`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import polars as pl

from pipelines.exports.header_rows import bare
from pipelines.records.dates import FormatFault, format_pattern
from pipelines.records.join_checks import join_faults, unmade_headers
from pipelines.records.numerals import Marks
from pipelines.records.rule_checks import (
    leave_out_faults,
    marks_faults,
    phrase_faults,
    transform_faults,
)
from pipelines.records.scope_checks import SCOPE, scope_faults
from pipelines.records.typed_values import typed
from pipelines.records.units_of_measure import conversion, is_unit, takes_unit
from pipelines.workspace.toml_file import show, suggest
from schemas.codes import ANALYTES
from schemas.columns import column_names, fields, key_columns
from schemas.feeds import FEED_TABLES
from schemas.validation import SchemaErrors, pa

PARTS = (
    *SCOPE,
    "decimal",
    "thousands",
    "dates",
    "layout",
    "columns",
    "units",
    "constants",
    "analytes",
    "transforms",
    "phrases",
    "values",
    "leave_out",
    "join",
)
LONG_PARTS = ("analyte", "value", "unit", "remark")
LONG_ANALYTES = (*ANALYTES, "temperature_c")
_TABLES = ("columns", "units", "constants", "analytes", "transforms", "phrases", "values")
# Places of a row that may be named like headers.
PLACES = ("#file", "#sheet", "#line", "#part")
_HARD = ("CaCO3", "Ca")
# What a laboratory's result may be expressed as, where its unit does not say it.
BASES = {
    "calcium_mg_l_caco3": _HARD,
    "hardness_mg_l_caco3": _HARD,
    "alkalinity_mg_l_caco3": ("CaCO3", "HCO3"),
    "silica_mg_l": ("SiO2", "Si"),
}
Fault = tuple[tuple[str, ...], str]  # key, the rest of a sentence that begins with it


def text_of(value: Any) -> str:
    """A TOML value as an export would write it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dt.datetime | dt.date):
        return value.isoformat()
    return str(value).strip()


def faults_of(feed: str, data: dict[str, Any]) -> Iterator[Fault]:
    """Every fault of a mapping's parsed TOML."""
    for key, value in data.items():
        if key not in PARTS:
            yield (key,), f"is no part of a mapping; {suggest(key, PARTS)}"
        elif key in _TABLES and not isinstance(value, dict):
            yield (key,), f"is {show(value)}; write it as a table, [{key}]."
    tables = {name: _table(data.get(name)) for name in _TABLES}
    yield from scope_faults(data)
    yield from marks_faults(data)
    yield from _dates(data.get("dates", []))
    yield from _layout(feed, data)
    long = data.get("layout") == "long"
    yield from _columns(feed, tables["columns"], long)
    yield from _units(feed, tables["units"])
    yield from _constants(feed, tables, long)
    yield from _analytes(tables["analytes"])
    sources = _sources(feed, long)
    yield from transform_faults(
        feed, tables["transforms"], sources, lambda column: _source_kind(feed, column)
    )
    yield from leave_out_faults(data.get("leave_out", []))
    yield from join_faults(data)
    yield from unmade_headers(data)
    yield from _split_in_key(feed, tables, long)
    # Translations are read by the mapping's own marks and formats, so these must be sound.
    if not [*marks_faults(data), *_dates(data.get("dates", []))]:
        yield from _values(feed, tables["values"], data)
        marks = Marks(data.get("decimal", "."), data.get("thousands"))
        patterns = tuple(format_pattern(form) for form in data.get("dates", []))
        yield from phrase_faults(
            feed,
            tables["phrases"],
            column_names(FEED_TABLES[feed]),
            lambda column, code: (
                None if _reads(feed, column, code, marks, patterns) else _kind(feed, column)
            ),
        )


def _table(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _dates(forms: Any) -> Iterator[Fault]:
    if not isinstance(forms, list) or not all(isinstance(form, str) for form in forms):
        yield ("dates",), f'is {show(forms)}; write a list of formats, such as ["%m/%d/%Y"].'
        return
    for form in forms:
        try:
            format_pattern(form)
        except FormatFault as fault:
            yield ("dates",), f"holds {show(form)}, which {fault}"


def _layout(feed: str, data: dict[str, Any]) -> Iterator[Fault]:
    layout = data.get("layout", "wide")
    if layout not in ("wide", "long"):
        yield ("layout",), f'is {show(layout)}; write "long", or leave it out.'
    elif layout == "long" and feed != "water_tests":
        yield ("layout",), 'is "long", which only water_tests may have; take it out.'
    elif layout == "wide" and "analytes" in data:
        yield ("analytes",), 'is for the long layout; add layout = "long", or take it out.'


def _columns(feed: str, columns: dict[str, Any], long: bool) -> Iterator[Fault]:
    known = _sources(feed, long)
    for column, header in columns.items():
        key = ("columns", column)
        if column not in known:
            yield (
                key,
                f"is no column of {feed}{_hint(feed, column, long)}; {suggest(column, known)}",
            )
        elif isinstance(header, dict):
            yield from ((key, fault) for fault in _several_faults(header))
        elif not isinstance(header, str) or not header.strip():
            yield key, f"is {show(header)}; write the export's header in quotes."


def _several_faults(entry: dict[str, Any]) -> Iterator[str]:
    """Faults of a column that comes from several headers."""
    ways = [way for way in ("join", "first") if way in entry]
    for name in entry:
        if name not in ("join", "first", "with"):
            yield f"has {name}; {suggest(name, ('join', 'first', 'with'))}"
    if len(ways) != 1:
        yield 'is a table; write { join = ["A", "B"], with = "; " } or { first = ["A", "B"] }.'
        return
    headers = entry[ways[0]]
    are_texts = isinstance(headers, list) and all(isinstance(h, str) and h.strip() for h in headers)
    if not are_texts or not headers:
        yield f"has {ways[0]}, which is {show(headers)}; write a list of the export's headers."
    if "with" in entry and ways == ["first"]:
        yield "has with, which goes with join alone; take it out."
    elif not isinstance(entry.get("with", ""), str):
        yield f"has with, which is {show(entry['with'])}; write a text in quotes."


def _source_kind(feed: str, column: str) -> str:
    """What a column or a part of the long layout holds."""
    if column in LONG_PARTS:
        return "analyte" if column == "value" else "text"
    return str((fields(FEED_TABLES[feed])[column].metadata or {})["kind"])


def _split_in_key(feed: str, tables: dict[str, dict[str, Any]], long: bool) -> Iterator[Fault]:
    """A mapping that splits must tell the parts of a row apart by their key."""
    for column, steps in tables["transforms"].items():
        if not isinstance(steps, list) or not any(
            isinstance(step, dict) and "split" in step for step in steps
        ):
            continue
        keys = ["sample", "analyte"] if long else key_columns(FEED_TABLES[feed])
        sources = [tables["columns"].get(key, key) for key in keys]
        key_headers = {bare(header) for source in sources for header in _telling(source)}
        source = tables["columns"].get(column, column)
        # A column of several headers is split by itself, and no header of theirs is.
        split = bare(source) if isinstance(source, str) else ""
        if column not in keys and not {bare("#part"), split} & key_headers:
            remedy = f"name {column} or #part in a key column ({', '.join(keys)}) under [columns]"
            yield (
                ("transforms", column),
                "splits rows whose parts have the same key and would replace each other; "
                f"{remedy}.",
            )


def _telling(source: object) -> list[str]:
    """The headers that a column always comes from: of those with `first` the first alone."""
    if isinstance(source, dict):
        listed = source.get("join", source.get("first", [])[:1])
        return (
            [name for name in listed if isinstance(name, str)] if isinstance(listed, list) else []
        )
    return [source] if isinstance(source, str) else []


def _sources(feed: str, long: bool) -> list[str]:
    """What a header may be mapped to."""
    columns = column_names(FEED_TABLES[feed])
    if not long:
        return columns
    return [name for name in columns if name not in ANALYTES] + list(LONG_PARTS)


def _hint(feed: str, column: str, long: bool) -> str:
    if long and column in ANALYTES:
        return " in the long layout, where an analyte is named under [analytes]"
    if not long and feed == "water_tests" and column in LONG_PARTS:
        return ' unless layout = "long"'
    return ""


def _units(feed: str, units: dict[str, Any]) -> Iterator[Fault]:
    table = FEED_TABLES[feed]
    measured = [name for name in column_names(table) if takes_unit(table, name)]
    for column, unit in units.items():
        key = ("units", column)
        if column not in column_names(table):
            yield key, f"is no column of {feed}; {suggest(column, measured)}"
        elif column not in measured:
            yield key, "is a column without a unit; take it out."
        elif not isinstance(unit, str) or not unit.strip():
            yield key, f'is {show(unit)}; write a unit in quotes, such as "gpg".'
        elif conversion(column, unit) is None:
            own = (fields(table)[column].metadata or {})["unit"] or "none"
            misfit = "does not fit the column" if is_unit(unit) else "is no unit that is known"
            yield key, f"is {show(unit)}, which {misfit}; the feed's unit is {own}."


def _constants(feed: str, tables: dict[str, dict[str, Any]], long: bool) -> Iterator[Fault]:
    known = [name for name in _sources(feed, long) if name not in LONG_PARTS]
    for column, value in tables["constants"].items():
        key = ("constants", column)
        if column not in known:
            yield key, f"is no column of {feed}; {suggest(column, known)}"
        elif column in tables["columns"]:
            yield key, "is under [columns] too; keep one of the two."
        elif column in tables["units"]:
            yield key, "is under [units] too; write the constant in the feed's unit instead."
        elif not isinstance(value, str | int | Decimal | dt.date) or not text_of(value):
            yield key, f"is {show(value)}; write one value."
        elif not _reads(feed, column, text_of(value), Marks(), ()):
            yield key, f"is {show(value)}, which is no {_kind(feed, column)}."


def _analytes(analytes: dict[str, Any]) -> Iterator[Fault]:
    seen: dict[str, str] = {}
    for name, column in analytes.items():
        key = ("analytes", name)
        before = seen.setdefault(name.strip().lower(), name)
        if isinstance(column, dict):
            yield from ((key, fault) for fault in _basis_faults(column))
            column = column.get("column")
        if before != name:
            yield key, f"is {show(before)} in other letters; keep one of them."
        elif column not in LONG_ANALYTES:
            near = suggest(column, LONG_ANALYTES) if isinstance(column, str) else "write a name."
            yield key, f"is {show(column)}, which is no analyte of water_tests; {near}"


def _basis_faults(entry: dict[str, Any]) -> Iterator[str]:
    """Faults of an analyte whose basis is told."""
    for name in entry:
        if name not in ("column", "basis"):
            yield f"has {name}; {suggest(name, ('column', 'basis'))}"
    basis, column = entry.get("basis"), entry.get("column")
    if basis is None or not isinstance(column, str):
        return
    fitting = BASES.get(column, ())
    if basis not in fitting:
        told_bases = ", ".join(fitting) or "none"
        yield f"has the basis {show(basis)}, which {column} does not take; it takes {told_bases}."


def _values(feed: str, values: dict[str, Any], data: dict[str, Any]) -> Iterator[Fault]:
    known = column_names(FEED_TABLES[feed])
    marks = Marks(data.get("decimal", "."), data.get("thousands"))
    patterns = tuple(format_pattern(form) for form in data.get("dates", []))
    for column, words in values.items():
        if column not in known:
            yield ("values", column), f"is no column of {feed}; {suggest(column, known)}"
            continue
        if not isinstance(words, dict):
            remedy = f'write a table, [values.{column}], with lines such as "Repl." = "repair"'
            yield ("values", column), f"is {show(words)}; {remedy}."
            continue
        seen: dict[str, str] = {}
        for word, value in words.items():
            key = ("values", column, word)
            before = seen.setdefault(word.strip().lower(), word)
            if before != word:
                yield key, f"is {show(before)} in other letters; keep one of them."
            elif not isinstance(value, str | int | Decimal | dt.date):
                yield key, f"is {show(value)}; write one value."
            elif text_of(value) and not _reads(feed, column, text_of(value), marks, patterns):
                yield key, f"is {show(value)}, which is no {_kind(feed, column)}."


def _reads(feed: str, column: str, text: str, marks: Marks, patterns: tuple[str, ...]) -> bool:
    """Whether the text is a value of the column that passes the table's own checks."""
    meta = fields(FEED_TABLES[feed])[column].metadata or {}
    read = typed(meta["kind"], pl.col("text"), meta["words"] or (), marks, patterns, "UTC")
    frame = pl.DataFrame({"text": [text]}).select(read.value.alias(column), ok=read.ok)
    if not frame["ok"].item():
        return False
    own_checks = pa.DataFrameSchema({column: fields(FEED_TABLES[feed])[column]})
    try:
        own_checks.validate(frame.select(column), lazy=True)
    except SchemaErrors:
        return False
    return True


def _kind(feed: str, column: str) -> str:
    meta = fields(FEED_TABLES[feed])[column].metadata or {}
    if meta["words"]:
        return f"word of {column}; use one of: {', '.join(meta['words'])}"
    return f"value of {column}"
