"""The page of the data dictionary: every published table and view, and how the schema changed.

Belongs here: saying the catalog in words. Does not belong here: the catalog (`schemas.catalog`).
"""

from __future__ import annotations

from itertools import groupby
from typing import Any

from dashboards import formats
from schemas.catalog import CATALOG, PUBLISHED
from schemas.described import Column, Described
from schemas.versions import CHANGES, SCHEMA_VERSION

_FORMS = {
    "text": "text",
    "serial": "serial",
    "region": "ISO 3166-2 code",
    "word": "one of the words",
    "day": "date",
    "moment": "date and time",
    "number": "number",
    "analyte": "number",
    "integer": "whole number",
    "money": "amount of money, exact",
    "hours": "number of hours, exact",
    "flag": "true or false",
    "texts": "list of texts",
    "citations": "list of records: feed, key, file, line",
    "structs": "list of structs",
    "moves": "list of conditions, each with the outcome before and after",
}


def content() -> dict[str, Any]:
    """What the template needs; it is the same in every workspace."""
    described = [CATALOG[name] for name in PUBLISHED]
    views = sum(table.is_view for table in described)
    return {
        "title": "Data dictionary",
        "summary": f"{formats.counted(len(described) - views, 'table', 'tables')} and "
        f"{formats.counted(views, 'view', 'views')}, each under data/ as Parquet and, up to the "
        f"rows that a spreadsheet holds, as CSV; schema version {SCHEMA_VERSION}.",
        "tables": [_table(table) for table in described],
        "changes": [
            (version, [_change(change) for change in changes])
            for version, changes in groupby(CHANGES, key=lambda change: change.version)
        ],
    }


def _table(table: Described) -> dict[str, Any]:
    return {
        "name": table.name,
        "kind": "View" if table.is_view else "Table",
        "grain": table.grain,
        "key": ", ".join(table.key),
        "columns": [_column(table, column) for column in table.columns],
    }


def _column(table: Described, column: Column) -> dict[str, Any]:
    form = _FORMS.get(column.kind, column.kind)
    joins = column.references
    target = (joins or "").partition(".")[0]
    return {
        "name": column.name,
        "is_key": column.name in table.key,
        "form": f"{form}, in {column.unit}" if column.unit else form,
        "meaning": column.description,
        "words": formats.listed(list(column.words)) if column.words else "",
        "null": "never null" if column.required else column.null,
        "joins": joins,
        "linked": target in PUBLISHED,
    }


def _change(change: Any) -> dict[str, str]:
    name = f"{change.table}.{change.column}" if change.column else change.table
    return {"name": name, "what": change.what, "instead": change.instead}
