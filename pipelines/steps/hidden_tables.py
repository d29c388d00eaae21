"""The published tables without what the settings hide.

Belongs here: reading what is hidden, and which tables are looked at. Does not belong here: how
names are masked (`dashboards.hiding`).
"""

from __future__ import annotations

import dataclasses
from typing import Any

import polars as pl

from dashboards.data import EVIDENCE_ROWS, PageData
from dashboards.hiding import hide_in_tables, hide_names
from pipelines.letters.values import agency_names
from pipelines.store.database import has_table, read_frame
from pipelines.store.descriptions import DATA_DICTIONARY
from pipelines.store.states import TABLE_STATES
from pipelines.store.transaction import RefreshSession
from schemas.catalog import PUBLISHED
from schemas.columns import column_names
from schemas.feeds import FEED_TABLES
from schemas.field import FIELD_TABLES

# The tables that are no figure, by the name that pages have for them.
_PAGE_NAMES = {
    "decision_history": "history",
    "unit_histories": "units",
    "feed_states": "feeds",
}
# Tables whose name stands for something else on pages.
_UNLIKE_PAGES = ("units", "rulings", "credits", "letters")


def hidden_tables(session: RefreshSession) -> dict[str, pl.DataFrame]:
    """The tables without what the settings hide from pages; none where they hide nothing."""
    inputs, con = session.inputs, session.con
    if not inputs.settings.hide:
        return {}
    shown_as_is = (TABLE_STATES, DATA_DICTIONARY, "publications")  # no value of an export
    chosen = [name for name in PUBLISHED if name not in shown_as_is and has_table(con, name)]
    tables: dict[str, Any] = {name: read_frame(con, name) for name in chosen}
    figures = {name: tables.pop(name) for name in list(tables) if name in FIELD_TABLES}
    shown_names = {field.name for field in dataclasses.fields(PageData)}
    others = {
        name: tables.pop(name)
        for name in list(tables)
        if _PAGE_NAMES.get(name, name) not in shown_names or name in _UNLIKE_PAGES
    }
    page_data = PageData(
        maker=inputs.settings.maker,
        as_of=inputs.as_of,
        timezone=inputs.settings.timezone,
        currency=inputs.settings.currency,
        hide=inputs.settings.hide,
        agencies=agency_names(inputs.reference.agencies),
        evidence_rows=_values_to_hide(session),
        figures=figures,
        **{_PAGE_NAMES.get(name, name): frame for name, frame in tables.items()},
    )
    shown = hide_names(page_data)
    by_name = {name: getattr(shown, _PAGE_NAMES.get(name, name)) for name in tables}
    return {**by_name, **shown.figures, **hide_in_tables(page_data, others)}


def _values_to_hide(session: RefreshSession) -> pl.DataFrame:
    """One row with every value of the hidden columns, in the shape of a page's evidence."""
    columns: list[str] = []
    cells: list[str] = []
    for feed, table in FEED_TABLES.items():
        for column in set(session.inputs.settings.hide) & set(column_names(table)):
            values = read_frame(session.con, feed, columns=[column])[column].unique().drop_nulls()
            columns += [column] * values.len()
            cells += values.to_list()
    row = pl.DataFrame({"columns": [columns], "cells": [cells]})
    return pl.concat([pl.DataFrame(schema=EVIDENCE_ROWS), row], how="diagonal_relaxed")
