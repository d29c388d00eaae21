"""Gathers from the store what the pages show.

Belongs here: choosing claims that get a page, and reading and joining what their pages cite. Does
not belong here: how anything looks (`dashboards`), or any rule.
"""

from __future__ import annotations

import csv
import dataclasses
import datetime as dt
import io

import duckdb
import polars as pl

from dashboards import data as shown
from pipelines.counterfactuals import sentences_of, what_would_turn
from pipelines.coverage.clock import unit_terms
from pipelines.coverage.evidence import Evidence, seen
from pipelines.coverage.replacements import all_before, links
from pipelines.coverage.supply_tests import with_supply_test
from pipelines.records.headers import match_headers
from pipelines.records.mapping import Mapping
from pipelines.records.repairs import filing_day
from pipelines.steps.figure_notes import figure_notes
from pipelines.steps.letters import claim_facts, letters_of_evidence
from pipelines.steps.near_serials import of_claims, of_serials, suggestions_of_store
from pipelines.steps.payment_ledger import credits_of
from pipelines.store.database import has_table, query_frame, read_frame, registered
from pipelines.store.evidence import evidence_around
from pipelines.store.inputs import Inputs
from pipelines.store.recorded_rulings import CITED_AS
from pipelines.store.transaction import RefreshSession
from pipelines.units.events import unit_events, with_earlier_lives
from pipelines.water.limits import with_chloramine
from schemas.causes import CAUSE_TABLES
from schemas.codes import ANALYTES, FEEDS
from schemas.columns import column_names
from schemas.field import FIELD_TABLES

# A settled claim keeps its page for so long after it was filed; older ones are told by `explain`.
RECENT_DAYS = 120
# So many claims, the newest first, keep the pages under 150 MB and written in seconds.
MOST_PAGES = 2_500
OPEN = ("needs_review", "needs_evidence")
# What `claims_with_pages` looks at.
CHOOSING = ("claim", "claimed_on", "opened_on", "standing", "ruling_outdated")
# The figures that pages draw: those that are sliced, and some that are not.
DRAWN = [
    *(name for name, table in FIELD_TABLES.items() if "by" in column_names(table)),
    "agency_figures",
    "sensitivity",
]
NOTED = ("clock_starts", "sensitivity", "reporting_lags")


def claims_with_pages(
    decisions: pl.DataFrame, as_of: dt.date, also: pl.Series | None = None
) -> pl.Series:
    """The claims that get a page: open ones, then those filed lately; the newest if too many.

    `also` names claims that someone has to look at although they are decided.
    """
    filed = filing_day()
    recent = filed > as_of - dt.timedelta(days=RECENT_DAYS)
    is_open = pl.col("standing").is_in(OPEN) | pl.col("ruling_outdated")
    if also is not None:
        is_open = is_open | pl.col("claim").is_in(also.implode())
    chosen = decisions.filter(is_open | recent).with_columns(_open=is_open, _filed=filed)
    newest = chosen.sort("_open", "_filed", "claim", descending=[True, True, False])
    return newest.head(MOST_PAGES)["claim"].sort()


def page_data(session: RefreshSession, claims: pl.Series) -> shown.PageData:
    """Everything that the pages show, with the details of the named claims."""
    inputs, con = session.inputs, session.con
    base = data_of_claims(inputs, con, claims)
    near = suggestions_of_store(con)
    return dataclasses.replace(
        base,
        refreshed_at=session.decided_at,
        arrivals=_arrivals(con),
        row_accounts=read_frame(con, "row_accounts"),
        set_aside=read_frame(con, "set_aside"),
        feeds=read_frame(con, "feed_states", columns=shown.FEEDS.names()),
        suggestions=of_serials(near),
        claim_suggestions=of_claims(near),
        night_checks=read_frame(con, "night_checks"),
        water_profiles=_rows_of(con, "water_profiles", base.water_values["sample"]),
        upcoming=read_frame(con, "upcoming"),
        second_opinions=read_frame(con, "second_opinions"),
        second_opinion_agreement=read_frame(con, "second_opinion_agreement"),
        terms_values=inputs.terms.values,
        terms_water_limits=inputs.terms.water_limits,
        terms_installation_limits=inputs.terms.installation_limits,
        figures={name: read_frame(con, name) for name in DRAWN if has_table(con, name)},
        figure_notes=figure_notes(
            {name: read_frame(con, name) for name in NOTED if has_table(con, name)},
            inputs.reference.regions,
        ),
        **{name: read_frame(con, name) for name in CAUSE_TABLES if name != "cause_suggestions"},
    )


def data_of_claims(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, claims: pl.Series
) -> shown.PageData:
    """What the pages of the named claims show, without the tables of the other pages."""
    wanted = pl.DataFrame({"claim": claims}, schema={"claim": pl.String})
    findings = _rows_of(con, "findings", wanted["claim"])
    decisions = read_frame(con, "decisions")
    named = decisions.join(wanted, on="claim", how="semi")
    serials = named["serial"].unique()
    likely = named["serial_suggestion"].drop_nulls()
    evidence = seen(evidence_around(inputs, con, pl.concat([serials, likely]).unique()))
    facts = claim_facts(inputs, evidence, wanted)
    reference = inputs.reference
    return shown.PageData(
        maker=inputs.settings.maker,
        as_of=inputs.as_of,
        timezone=inputs.settings.timezone,
        currency=inputs.settings.currency,
        hide=inputs.settings.hide,
        decisions=decisions,
        findings=findings,
        history=_rows_of(con, "decision_history", wanted["claim"]),
        rulings=evidence.rulings,
        payments=read_frame(con, "payments", schema=shown.PAYMENTS),
        credits=credits_of(con, wanted["claim"], inputs.as_of),
        counterfactuals=_counterfactuals(inputs, evidence, named),
        evidence_rows=_evidence_rows(inputs, con, findings),
        events=_events(inputs, evidence, serials),
        cartridge_spans=_rows_of(con, "cartridge_spans", serials),
        water_values=_water_values(inputs, evidence, facts),
        units=_rows_of(con, "unit_histories", serials),
        letters=letters_of_evidence(inputs, evidence, named, findings, facts),
        letter_templates=inputs.letter_templates,
        regions=reference.regions,
        agencies=reference.agencies.select("agency", "name").unique("agency"),
        causes=reference.causes,
        cause_suggestions=read_frame(con, "cause_suggestions", schema=shown.CAUSE_SUGGESTIONS),
    )


def _rows_of(con: duckdb.DuckDBPyConnection, table: str, keys: pl.Series) -> pl.DataFrame:
    """The rows of a table that have one of the keys in the column of the keys' name."""
    with registered(con, keys.unique().to_frame()) as wanted:
        return query_frame(con, f"select * from {table} semi join {wanted} using ({keys.name})")


def _counterfactuals(inputs: Inputs, evidence: Evidence, decisions: pl.DataFrame) -> pl.DataFrame:
    """What would change the verdict of each claim that is not covered."""
    short = decisions.filter(pl.col("verdict") != "covered").sort("claim")
    found = what_would_turn(evidence, inputs.terms, short)
    return pl.DataFrame(
        {"claim": list(found), "sentence": [sentences_of(told) for told in found.values()]},
        schema={"claim": pl.String, "sentence": pl.List(pl.String)},
    ).explode("sentence")


def _arrivals(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    return query_frame(
        con,
        "select a.feed, a.file, a.rows_read, a.records, a.set_aside from row_accounts a "
        "join export_files f using (file) where f.news <> 'unchanged' order by a.feed, a.file",
    )


def _events(inputs: Inputs, evidence: Evidence, serials: pl.Series) -> pl.DataFrame:
    """The events of the units, and of those that they took over from."""
    sound = links(evidence.units).filter(pl.col("fault").is_null())
    earlier = all_before(sound.select("serial", "replaces"))
    earlier = earlier.filter(pl.col("serial").is_in(serials.implode()))
    told = pl.concat([serials, earlier["earlier"]]).unique()
    units = evidence.units.filter(pl.col("serial").is_in(told.implode()))
    sellers = unit_terms(units, evidence.models, inputs.terms).join(
        inputs.terms.values.select("edition", "family", "sellers"),
        on=["edition", "family"],
        how="left",
    )
    events = unit_events(evidence, told, sellers.select("serial", "site", "sellers"))
    return with_earlier_lives(events, earlier).filter(pl.col("serial").is_in(serials.implode()))


def _water_values(inputs: Inputs, evidence: Evidence, claims: pl.DataFrame) -> pl.DataFrame:
    """Every reported or limited analyte of the test by which each claim was judged."""
    judged = with_supply_test(claims, evidence, inputs.terms).filter(
        pl.col("test_sample").is_not_null()
    )
    tests = with_chloramine(evidence.water_tests)
    names = (*ANALYTES, "chloramine_mg_l")
    values = tests.unpivot(names, index="sample", variable_name="analyte")
    bounds = tests.unpivot(
        [f"{name}_below" for name in names],
        index="sample",
        variable_name="analyte",
        value_name="below",
    ).with_columns(pl.col("analyte").str.strip_suffix("_below"))
    reported = values.join(bounds, on=["sample", "analyte"])
    grid = judged.select(
        "claim", "edition", "family", sample="test_sample", sampled_on="test_sampled_on"
    ).join(reported, on="sample")
    limits = inputs.terms.water_limits.select("edition", "family", "analyte", "min", "max", "needs")
    value = pl.col("value")
    over = (value > pl.col("max")).fill_null(False) | (value < pl.col("min")).fill_null(False)
    return (
        grid.join(limits, on=["edition", "family", "analyte"], how="left")
        .filter(value.is_not_null() | pl.col("below").is_not_null() | pl.col("needs").is_not_null())
        .with_columns(
            outside=pl.when(pl.col("needs").is_not_null() & value.is_not_null()).then(over)
        )
        .select(shown.WATER_VALUES.names())
    )


def _evidence_rows(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, findings: pl.DataFrame
) -> pl.DataFrame:
    """The landed rows that findings cite, parted into cells as they came."""
    cited = findings.select(cited=pl.col("evidence").explode()).drop_nulls().unnest("cited")
    files = read_frame(con, "export_files")
    parts = []
    for feed in FEEDS:
        rows = cited.filter(pl.col("feed") == feed).unique()
        if rows.is_empty():
            continue
        with registered(con, rows) as wanted:
            landed = query_frame(
                con,
                f"select c.feed, c.key, l.file, l.line, l.raw from landed_{feed} l "
                f"join {wanted} c using (file, line)",
            )
        for name, of_file in landed.group_by("file"):
            form = files.row(by_predicate=pl.col("file") == name[0], named=True)
            parts.append(_cells(inputs, feed, form, of_file))
    return pl.concat([pl.DataFrame(schema=shown.EVIDENCE_ROWS), *parts])


def _cells(inputs: Inputs, feed: str, form: dict, rows: pl.DataFrame) -> pl.DataFrame:
    mapping = Mapping.plain(feed) if form["file"] == CITED_AS else inputs.mappings[feed]
    headers = list(form["headers"])
    places = {place: name for name, place in match_headers(feed, headers, mapping).places.items()}
    columns = [places.get(place, "") for place in range(len(headers))]
    told = [_parted(raw, form["delimiter"] or "\t") for raw in rows["raw"]]
    return pl.DataFrame(
        {
            "feed": rows["feed"],
            "key": rows["key"],
            "file": rows["file"],
            "line": rows["line"],
            "headers": [headers] * rows.height,
            "columns": [columns] * rows.height,
            "cells": told,
        },
        schema=shown.EVIDENCE_ROWS,
    )


def _parted(raw: str, delimiter: str) -> list[str]:
    csv.field_size_limit(2**31 - 1)
    reader = csv.reader(io.StringIO(raw, newline=""), delimiter=delimiter)
    return [cell.strip() for cell in next(reader, [])]
