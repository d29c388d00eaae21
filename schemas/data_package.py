"""datapackage.json: what is published, told to machines by an open standard.

Belongs here: descriptors of Frictionless Data (Data Package and Table Schema, version 1) made from
the catalog. Does not belong here: what a column is (`schemas.catalog`), or the descriptor of the
feeds as a company lays them in (`schemas.dictionary`).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from schemas.catalog import CATALOG
from schemas.described import Column, Described
from schemas.versions import SCHEMA_VERSION

_CSV_TYPES = {
    "day": "date",
    "moment": "datetime",
    "number": "number",
    "analyte": "number",
    "integer": "integer",
    "money": "number",
    "hours": "number",
    "flag": "boolean",
    "citations": "array",
    "moves": "array",
    "structs": "array",
}


def field_descriptor(column: Column, *, hidden: bool = False) -> dict[str, Any]:
    """The descriptor of one column; constraints are those that every published row keeps."""
    kind = _CSV_TYPES.get(column.kind, "string")
    descriptor: dict[str, Any] = {"name": column.name, "type": kind, "description": column.meaning}
    if kind == "datetime":
        descriptor["format"] = "any"  # some have fractions of a second
    if column.unit:
        descriptor["unit"] = column.unit
    constraints: dict[str, Any] = {}
    if column.required and not hidden and column.kind not in ("texts", "text"):
        constraints["required"] = True
    if column.words and column.kind == "word":
        constraints["enum"] = list(column.words)
    if column.kind in ("money", "hours") and not column.signed:
        constraints["minimum"] = 0
    if constraints:
        descriptor["constraints"] = constraints
    return descriptor


def table_descriptor(
    table: Described, columns: Collection[str], published: Mapping[str, Any], hide: Collection[str]
) -> dict[str, Any]:
    """The Table Schema of one published table, with those columns that it has."""
    fields = [
        field_descriptor(column, hidden=column.name in hide)
        for column in table.columns
        if column.name in columns
    ]
    descriptor: dict[str, Any] = {"fields": fields, "missingValues": [""]}
    if table.key_is_checked or table.is_view:
        descriptor["primaryKey"] = list(table.key)
    links = [
        {
            "fields": list(mine),
            "reference": {"resource": other.replace("_", "-"), "fields": list(theirs)},
        }
        for mine, other, theirs in table.links
        if other in published and set(mine) <= set(columns)
    ]
    if links:
        descriptor["foreignKeys"] = links
    return descriptor


def package_of_tables(
    published: Mapping[str, tuple[Collection[str], bool]],
    *,
    created: str,
    facts: Mapping[str, str],
    hide: Collection[str] = (),
) -> dict[str, Any]:
    """The descriptor of the folder in which the published tables lie.

    Args:
        published: for each table its columns, in order, and whether it has a CSV.
        created: when it was published, ISO 8601 with offset.
        facts: what else is told at the top: state, as_of.
        hide: columns that the settings hide.
    """
    tabular = all(has_csv for _, has_csv in published.values())
    linkable = {name: listed for name, listed in published.items() if listed[1]}
    resources = []
    for name, (columns, has_csv) in published.items():
        table = CATALOG[name]
        resource: dict[str, Any] = {
            "name": name.replace("_", "-"),
            "title": name.replace("_", " ").capitalize(),
            "description": table.grain,
            "path": f"{name}.csv" if has_csv else f"{name}.parquet",
            "parquet": f"{name}.parquet",
            "format": "csv" if has_csv else "parquet",
            "mediatype": "text/csv" if has_csv else "application/vnd.apache.parquet",
            "schema": table_descriptor(table, columns, linkable if has_csv else published, hide),
        }
        if has_csv:
            resource |= {"encoding": "utf-8", "dialect": {"delimiter": ","}}
        resource["profile"] = "tabular-data-resource" if tabular else "data-resource"
        resources.append(resource)
    return {
        "profile": "tabular-data-package" if tabular else "data-package",
        "name": "limeledger",
        "title": "Warranty claims, units, waters and field figures",
        "description": "Every table that the ledger publishes. Texts that begin as a formula "
        "would are led by an apostrophe in CSV; lists of words are joined by `; `. "
        "Foreign keys are those that always hold; a record may name a unit, a claim, a cause or an "
        "agency that is not on file, so what else joins to what stands in data_dictionary.",
        "version": SCHEMA_VERSION,
        "created": created,
        **facts,
        "resources": resources,
    }
