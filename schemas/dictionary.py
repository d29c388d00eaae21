"""The data dictionary and the Table Schema of a table, told from its pandera class.

Belongs here: turning table classes into text for people and descriptors for machines. Does not
belong here: any second list of columns.

The descriptors follow the open Frictionless Data standard (Table Schema, Data Package).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from schemas.columns import Table, fields, key_columns

_KINDS = {
    "text": "text",
    "serial": "serial",
    "region": "ISO 3166-2 code",
    "word": "one of the words",
    "day": "date, YYYY-MM-DD",
    "moment": "date and time, ISO 8601",
    "number": "number",
    "analyte": "number, or a non-detect such as `<0.05`",
    "integer": "whole number",
    "money": "money",
    "hours": "number of hours",
    "flag": "yes or no",
    "texts": "words separated by spaces",
    "citations": "records, each with feed, key, file and line",
    "moves": "conditions, each with the outcomes from and to",
}
_TABLE_SCHEMA_TYPES = {
    "day": ("date", "default"),
    "moment": ("datetime", "any"),
    "number": ("number", None),
    "integer": ("integer", None),
    "money": ("number", None),
    "hours": ("number", None),
    "flag": ("boolean", None),
}
_TRUE_WORDS = [w for t in ("yes", "y", "true", "1") for w in (t, t.capitalize(), t.upper())]
_FALSE_WORDS = [w for t in ("no", "n", "false", "0") for w in (t, t.capitalize(), t.upper())]


def grain(table: type[Table]) -> str:
    """The sentence that says what one row of the table is."""
    return (table.__doc__ or "").strip().splitlines()[0]


def dictionary_markdown(tables: Mapping[str, type[Table]], title: str) -> str:
    """A page of Markdown: for each table what a row is, then a line a column."""
    parts = [f"# {title}", ""]
    for name, table in tables.items():
        parts += [f"## {name}", "", grain(table), ""]
        parts += ["| column | what it holds | form | needed |", "| --- | --- | --- | --- |"]
        for column, field in fields(table).items():
            meta = field.metadata or {}
            form = _KINDS[meta["kind"]]
            if meta["words"]:
                form = f"{form}: {', '.join(meta['words'])}"
            if meta["signed"]:
                form = f"{form} (may be negative)"
            if meta["unit"]:
                form = f"{form}, in {meta['unit']}"
            needed = "key" if meta["key"] else "yes" if meta["required"] else ""
            parts.append(f"| `{column}` | {field.description} | {form} | {needed} |")
        parts.append("")
    return "\n".join(parts)


def table_schema(table: type[Table]) -> dict[str, Any]:
    """The Table Schema descriptor of a feed as the tool reads it (Frictionless, version 1)."""
    described = []
    for name, field in fields(table).items():
        meta = field.metadata or {}
        kind, form = _TABLE_SCHEMA_TYPES.get(meta["kind"], ("string", None))
        entry: dict[str, Any] = {"name": name, "type": kind, "description": field.description}
        if form and form != "default":
            entry["format"] = form
        if kind == "boolean":
            entry |= {"trueValues": _TRUE_WORDS, "falseValues": _FALSE_WORDS}
        constraints: dict[str, Any] = {}
        if meta["required"]:
            constraints["required"] = True
        if meta["words"] and meta["kind"] == "word":
            constraints["enum"] = meta["words"]
        if meta["kind"] in ("money", "hours") and not meta["signed"]:
            constraints["minimum"] = 0
        if constraints:
            entry["constraints"] = constraints
        described.append(entry)
    return {"fields": described, "primaryKey": key_columns(table), "missingValues": [""]}


def data_package(
    name: str, tables: Mapping[str, type[Table]], paths: Mapping[str, list[str]]
) -> dict[str, Any]:
    """A Data Package descriptor: one resource a feed that has files (`paths`, relative)."""
    resources = [
        {
            "name": feed.replace("_", "-"),
            "path": files[0] if len(files) == 1 else files,
            "profile": "tabular-data-resource",
            "encoding": "utf-8",
            "dialect": {"delimiter": ","},
            "schema": table_schema(tables[feed]),
        }
        for feed, files in paths.items()
        if files
    ]
    return {"profile": "tabular-data-package", "name": name, "resources": resources}
