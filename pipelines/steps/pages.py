"""Gathers from the store what the pages show.

Belongs here: reading what the pages about the whole show. Does not belong here: which claims get a
page (`paged_claims`), what is shown of a single claim (`claim_details`), how anything looks
(`dashboards`), or any rule.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

import duckdb
import polars as pl

from dashboards import data as shown
from pipelines.steps.claim_details import data_of_claims
from pipelines.steps.desk_pages import desk_page_data, read_desk, steps_of_claims
from pipelines.steps.join_attention import attention, below
from pipelines.steps.near_serials import of_claims, of_serials, suggestions_of_store
from pipelines.steps.startup_pages import startup_page_data
from pipelines.store.database import has_table, read_frame
from pipelines.store.inputs import Inputs
from pipelines.store.lookups import arrivals, rows_of
from pipelines.store.searched import searched_alone, things_of
from pipelines.store.transaction import RefreshSession
from pipelines.worklist.order import order_claims
from schemas.causes import CAUSE_TABLES
from schemas.columns import column_names
from schemas.field import FIELD_TABLES

# The figures that pages draw: those that are sliced, and some that are not.
DRAWN = [
    *(name for name, table in FIELD_TABLES.items() if "by" in column_names(table)),
    "agency_figures",
    "sensitivity",
    "clock_starts",
    "reporting_lags",
    "field_failures",
    "field_sentences",
]


def page_data(
    session: RefreshSession, claims: pl.Series, decided_at: dt.datetime
) -> shown.PageData:
    """Everything that the pages show, with the details of the named claims.

    `decided_at` is that of the changes that this run adds to the history.
    """
    inputs, con = session.inputs, session.con
    base = data_of_claims(inputs, con, claims)
    near = suggestions_of_store(con)
    read = read_desk(inputs)
    worklist = worklist_of(base, claims, read.rows)
    return dataclasses.replace(
        base,
        refreshed_at=decided_at,
        worklist=worklist,
        next_steps=steps_of_claims(inputs, con, worklist),
        searched=_searched(inputs, con),
        **desk_page_data(inputs, con, read),
        arrivals=arrivals(con),
        row_accounts=read_frame(con, "row_accounts"),
        set_aside=read_frame(con, "set_aside"),
        left_out=read_frame(con, "left_out"),
        joins=read_frame(con, "joins"),
        join_misses=read_frame(con, "join_misses"),
        attention=attention(inputs, con),
        joins_below=below(con),
        feeds=read_frame(con, "feed_states", columns=shown.FEEDS.names()),
        suggestions=of_serials(near),
        claim_suggestions=of_claims(near),
        night_checks=read_frame(con, "night_checks"),
        water_profiles=rows_of(con, "water_profiles", base.water_values["sample"]),
        upcoming=read_frame(con, "upcoming"),
        second_opinions=read_frame(con, "second_opinions"),
        second_opinion_agreement=read_frame(con, "second_opinion_agreement"),
        terms_values=inputs.terms.values,
        terms_water_limits=inputs.terms.water_limits,
        terms_installation_limits=inputs.terms.installation_limits,
        figures={name: read_frame(con, name) for name in DRAWN if has_table(con, name)},
        **_cause_tables(con),
        **startup_page_data(con, inputs.as_of),
    )


def worklist_of(base: shown.PageData, claims: pl.Series, desk: pl.DataFrame) -> pl.DataFrame:
    """The named claims in working order; `desk` is what people did, in the shape of DESK."""
    return order_claims(
        base.decisions.join(claims.to_frame("claim"), on="claim", how="semi"),
        base.as_of,
        reasons=base.findings,
        payments=base.payments,
        desk=desk,
        originals=base.decisions,
    )


def _searched(inputs: Inputs, con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """What the pages search; of rows as typed nothing where the settings hide a column."""
    searched = searched_alone(things_of(con))
    return searched.filter(pl.col("kind") == "claim") if inputs.settings.hide else searched


def _cause_tables(con: duckdb.DuckDBPyConnection) -> dict[str, Any]:
    """The tables on suggested causes that `PageData` has by their names."""
    return {name: read_frame(con, name) for name in CAUSE_TABLES if name != "cause_suggestions"}
