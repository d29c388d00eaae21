"""A world as the frames that the pipelines take.

Belongs here: types and column order. Does not belong here: any meaning.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage import Evidence
from pipelines.terms import Terms, terms_from_files
from pipelines.workspace.toml_file import TomlFile
from schemas.columns import polars_schema
from schemas.feeds import record_schema
from schemas.reference import REFERENCE_TABLES
from tests.properties.oracle.world import FEEDS, Row, World


def evidence_of(world: World) -> Evidence:
    """The records and reference files of the world."""
    frames = {feed: _frame(world.records[feed], record_schema(feed), feed) for feed in FEEDS}
    for name, table in REFERENCE_TABLES.items():
        frames[name] = _frame(world.reference[name], pl.Schema(polars_schema(table)), name)
    return Evidence(**frames, through=world.through, as_of=world.as_of)


def terms_of(world: World) -> Terms:
    """The editions of the world, through the checks that terms files go through."""
    families = sorted({model["family"] for model in world.reference["models"]})
    abilities = {ability for row in world.reference["treatments"] for ability in row["removes"]}
    files = [
        TomlFile(f"{edition['edition']}.toml", edition, "", edition["edition"])
        for edition in world.editions
    ]
    return terms_from_files(files, families, abilities)


def _frame(rows: list[Row], schema: pl.Schema, name: str) -> pl.DataFrame:
    columns = {}
    for column, kind in schema.items():
        values = [row.get(column) for row in rows]
        if column == "source_file":
            values = [f"{name}.csv"] * len(rows)
        elif column == "source_sheet":
            values = [""] * len(rows)
        elif column == "source_line":
            values = [place + 2 for place in range(len(rows))]
        elif kind == pl.Float64:
            values = [None if value is None else float(value) for value in values]
        columns[column] = pl.Series(column, values, dtype=kind, strict=True)
    return pl.DataFrame(columns, schema=schema)
