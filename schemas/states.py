"""Of which inputs the store's tables are the result.

Belongs here: the shape of the tables that tell it. Does not belong here: how a state is worked out
(`pipelines.store.states`).
"""

from __future__ import annotations

import polars as pl

from schemas.columns import MOMENT, Table, day, integer, moment, text

# What decides the content of a table beside the as-of day and the tool, by its column.
INPUT_KINDS = {
    "exports": "the exports",
    "mappings": "the mappings",
    "reference": "the reference files",
    "terms": "the terms",
    "settings": "the settings or letter templates",
    "recorded": "what people recorded",
}


class TableStates(Table):
    """One row is one table of the store: of which inputs it is the result."""

    table: str = text("The table.", required=True, key=True)
    rows: pl.Int64 = integer("How many rows it has.", required=True, ge=0)
    state: str = text("SHA-256 over all inputs of which it is the result.", required=True)
    as_of: pl.Date = day("The as-of day.", required=True)
    exports: str = text("SHA-256 over the exports, with their paths.", required=True)
    mappings: str = text("SHA-256 over the mappings.", required=True)
    reference: str = text("SHA-256 over the reference files.", required=True)
    terms: str = text("SHA-256 over the terms.", required=True)
    settings: str = text("SHA-256 over the settings and letter templates.", required=True)
    recorded: str = text("SHA-256 over what people recorded.", required=True)
    tool_version: str = text("The version of the tool.", required=True)
    tool: str = text("SHA-256 over the tool's source.", required=True)
    run: str = text("The run that made it.", required=True)
    made_at: MOMENT = moment("When it was made (UTC).", required=True)


class StoreState(Table):
    """One row is the store as it was published last: the one row of this table."""

    state: str = text("SHA-256 over all inputs of which every table is the result.", required=True)
    as_of: pl.Date = day("The as-of day.", required=True)
    publication: pl.Int64 = integer("The publication's number, from 1.", required=True, key=True)
    run: str = text("The run that published it.", required=True)
    published_at: MOMENT = moment("When it was published (UTC).", required=True)
    decided_at: MOMENT = moment("The moment in the history at which claims changed; null if none.")
    exports: str = text("SHA-256 over the exports, with their paths.", required=True)
    mappings: str = text("SHA-256 over the mappings.", required=True)
    reference: str = text("SHA-256 over the reference files.", required=True)
    terms: str = text("SHA-256 over the terms.", required=True)
    settings: str = text("SHA-256 over the settings and letter templates.", required=True)
    recorded: str = text("SHA-256 over what people recorded.", required=True)
    tool_version: str = text("The version of the tool.", required=True)
    tool: str = text("SHA-256 over the tool's source.", required=True)
    schema_version: str = text("The version of the tables' schema.", required=True)
