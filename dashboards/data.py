# ruff: noqa: RUF009 - `_empty` makes the default factory of a field
"""What the pages are made from: one object of frames, each with its columns named here.

Belongs here: the shape of the input of `dashboards.site.build_site`. Does not belong here: where
the frames come from. An empty frame leaves its section of the pages out.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import polars as pl

from dashboards.letters import LetterTemplates
from schemas import causes as suggested
from schemas import histories, startups
from schemas.accounts import JoinMisses, Joins, LeftOut, NightChecks, RowAccounts, SetAside
from schemas.columns import polars_schema
from schemas.decisions import DecisionHistory, Decisions, Findings
from schemas.feeds import Credits, Rulings
from schemas.letters import LETTERS
from schemas.payments import Payments
from schemas.search import SEARCHED
from schemas.second_opinions import SecondOpinionAgreement, SecondOpinions
from schemas.worklist import ADDED, DESK_EVENTS, NEXT_STEPS, SETTLED_ROWS, STALE_CORRECTIONS

DECISIONS = polars_schema(Decisions)
FINDINGS = polars_schema(Findings)
HISTORY = polars_schema(DecisionHistory)
# The claims with a page in working order, with what the list tells beside their decisions.
WORKLIST = pl.Schema({**DECISIONS, **ADDED})
RULINGS = polars_schema(Rulings)
PAYMENTS = polars_schema(Payments)
CREDITS = polars_schema(Credits)
UNITS = polars_schema(histories.UnitHistories)
WATER_PROFILES = polars_schema(histories.WaterProfiles)
UPCOMING = polars_schema(histories.Upcoming)
STARTUP_REVIEWS = polars_schema(startups.StartupReviews)
RECOMMENDATIONS = polars_schema(startups.TreatmentRecommendations)
JOURNEYS = polars_schema(startups.Journeys)
JOURNEY_RATES = polars_schema(startups.JourneyRates)
SECOND_OPINIONS = polars_schema(SecondOpinions)
SECOND_OPINION_AGREEMENT = polars_schema(SecondOpinionAgreement)
ROW_ACCOUNTS = polars_schema(RowAccounts)
SET_ASIDE = polars_schema(SetAside)
LEFT_OUT = polars_schema(LeftOut)
JOINS = polars_schema(Joins)
JOIN_MISSES = polars_schema(JoinMisses)
CAUSE_SUGGESTIONS = polars_schema(suggested.CauseSuggestions)
CAUSE_MODEL_QUALITY = polars_schema(suggested.CauseModelQuality)
CAUSE_RELIABILITY = polars_schema(suggested.CauseReliability)
CAUSE_CONFUSION = polars_schema(suggested.CauseConfusion)
NIGHT_CHECKS = polars_schema(NightChecks)

# One row is one dated event in the life of a unit, those of its site (water tests, purchases for
# the site) repeated for every unit there. `earlier` is the unit that it took over from, where the
# event is of that one's life; null for its own. `kind` is one of EVENT_KINDS, `label` one plain
# sentence, `evidence` the record it comes from (feed/key/file:line).
EVENTS = pl.Schema(
    {
        "serial": pl.String(),
        "kind": pl.String(),
        "on": pl.Date(),
        "label": pl.String(),
        "evidence": pl.String(),
        "earlier": pl.String(),
    }
)
EVENT_KINDS = (
    "shipped",
    "purchased",
    "installed",
    "start-up requested",
    "start-up completed",
    "water test",
    "treatment bought",
    "treatment fitted",
    "cartridge changed",
    "cartridges bought",
    "delimed",
    "inspection",
    "repair",
    "retired",
)
# One row is one stretch [start, end) in which a unit's treatment was covered by its cartridges
# (`covered`) or had run out (`lapsed`).
CARTRIDGE_SPANS = pl.Schema(
    {
        "serial": pl.String(),
        "product": pl.String(),
        "state": pl.String(),
        "start": pl.Date(),
        "end": pl.Date(),
    }
)
# One row is one reported or limited analyte of the supply test by which a claim was judged.
# `value` is null for a non-detect, whose bound is in `below`, and both are null where the test
# does not report it. `outside` says whether the value is outside the limits; null without a limit.
WATER_VALUES = pl.Schema(
    {
        "claim": pl.String(),
        "sample": pl.String(),
        "sampled_on": pl.Date(),
        "analyte": pl.String(),
        "value": pl.Float64(),
        "below": pl.Float64(),
        "min": pl.Float64(),
        "max": pl.Float64(),
        "needs": pl.String(),
        "outside": pl.Boolean(),
    }
)
# One row is one landed row that findings cite, by feed, key, file and line as they cite it: its
# headers and cells as they came, and for each header the feed's column that it is mapped to (empty
# for an extra column).
CITED = ("feed", "key", "file", "line")
EVIDENCE_ROWS = pl.Schema(
    {
        "feed": pl.String(),
        "key": pl.String(),
        "file": pl.String(),
        "line": pl.Int64(),
        "headers": pl.List(pl.String),
        "columns": pl.List(pl.String),
        "cells": pl.List(pl.String),
    }
)
# One row is one set of facts that would change a verdict, or why none would, as a sentence.
COUNTERFACTUALS = pl.Schema({"claim": pl.String(), "sentence": pl.String()})
# One row is one export that the latest refresh read for the first time, or again after a change.
_COUNTS = {name: pl.Int64() for name in ("rows_read", "records", "set_aside")}
ARRIVALS = pl.Schema({"feed": pl.String(), "file": pl.String(), **_COUNTS})
# One row is one serial without a unit that is one edit away from exactly one unit's.
SUGGESTIONS = pl.Schema(
    {
        "feed": pl.String(),
        "file": pl.String(),
        "line": pl.Int64(),
        "serial": pl.String(),
        "suggestion": pl.String(),
    }
)
# The same for claims that a credit names and no call does.
CLAIM_SUGGESTIONS = pl.Schema(
    {
        "feed": pl.String(),
        "file": pl.String(),
        "line": pl.Int64(),
        "claim": pl.String(),
        "suggestion": pl.String(),
    }
)
# One row is one feed: the day up to which it is known to be complete, and whether that is stale.
FEEDS = pl.Schema({"feed": pl.String(), "through_date": pl.Date(), "stale": pl.Boolean()})
REGIONS = pl.Schema(
    {"region": pl.String(), "name": pl.String(), "tile_row": pl.Float64(), "tile_col": pl.Float64()}
)
# One row is one name that an agency has had, the one that it has now last.
AGENCIES = pl.Schema({"agency": pl.String(), "name": pl.String()})
CAUSES = pl.Schema({"cause": pl.String(), "description": pl.String()})


def _empty(schema: pl.Schema) -> pl.DataFrame:
    return field(default_factory=lambda: pl.DataFrame(schema=schema))


@dataclass(frozen=True)
class PageData:
    """Everything that the pages show.

    Frames have the columns of the schemas in this module; more columns are ignored. `hide` names
    columns (`site_name`, `agency`) that must not appear on any page. `refreshed_at` is the
    `decided_at` that this refresh gave its changes in `history`; null shows no changes.
    `terms_values`, `terms_water_limits` and `terms_installation_limits` are the frames of
    `pipelines.terms.Terms`. `figures` maps a field table's name (schemas.field) to its frame; what
    the page says of them stands in `field_sentences`, one of these. `tables` names
    the files under published/data (`units.csv`). `letter_templates` fill `letters`; without them no
    letter is shown.
    """

    maker: str
    as_of: dt.date
    timezone: str
    currency: str
    hide: Sequence[str] = ()
    refreshed_at: dt.datetime | None = None
    decisions: pl.DataFrame = _empty(DECISIONS)
    worklist: pl.DataFrame = _empty(WORKLIST)
    next_steps: pl.DataFrame = _empty(NEXT_STEPS)
    desk_events: pl.DataFrame = _empty(DESK_EVENTS)
    stale_corrections: pl.DataFrame = _empty(STALE_CORRECTIONS)
    settled_rows: pl.DataFrame = _empty(SETTLED_ROWS)
    searched: pl.DataFrame = _empty(SEARCHED)
    findings: pl.DataFrame = _empty(FINDINGS)
    history: pl.DataFrame = _empty(HISTORY)
    rulings: pl.DataFrame = _empty(RULINGS)
    payments: pl.DataFrame = _empty(PAYMENTS)
    credits: pl.DataFrame = _empty(CREDITS)
    counterfactuals: pl.DataFrame = _empty(COUNTERFACTUALS)
    letters: pl.DataFrame = _empty(LETTERS)
    letter_templates: LetterTemplates | None = None
    evidence_rows: pl.DataFrame = _empty(EVIDENCE_ROWS)
    events: pl.DataFrame = _empty(EVENTS)
    cartridge_spans: pl.DataFrame = _empty(CARTRIDGE_SPANS)
    water_values: pl.DataFrame = _empty(WATER_VALUES)
    units: pl.DataFrame = _empty(UNITS)
    water_profiles: pl.DataFrame = _empty(WATER_PROFILES)
    upcoming: pl.DataFrame = _empty(UPCOMING)
    startup_reviews: pl.DataFrame = _empty(STARTUP_REVIEWS)
    treatment_recommendations: pl.DataFrame = _empty(RECOMMENDATIONS)
    journeys: pl.DataFrame = _empty(JOURNEYS)
    journey_rates: pl.DataFrame = _empty(JOURNEY_RATES)
    startup_counts: pl.DataFrame = _empty(startups.STARTUP_COUNTS)
    came_in: pl.DataFrame = _empty(startups.CAME_IN)
    second_opinions: pl.DataFrame = _empty(SECOND_OPINIONS)
    second_opinion_agreement: pl.DataFrame = _empty(SECOND_OPINION_AGREEMENT)
    arrivals: pl.DataFrame = _empty(ARRIVALS)
    row_accounts: pl.DataFrame = _empty(ROW_ACCOUNTS)
    set_aside: pl.DataFrame = _empty(SET_ASIDE)
    left_out: pl.DataFrame = _empty(LEFT_OUT)
    joins: pl.DataFrame = _empty(JOINS)
    join_misses: pl.DataFrame = _empty(JOIN_MISSES)
    feeds: pl.DataFrame = _empty(FEEDS)
    night_checks: pl.DataFrame = _empty(NIGHT_CHECKS)
    suggestions: pl.DataFrame = _empty(SUGGESTIONS)
    claim_suggestions: pl.DataFrame = _empty(CLAIM_SUGGESTIONS)
    regions: pl.DataFrame = _empty(REGIONS)
    agencies: pl.DataFrame = _empty(AGENCIES)
    causes: pl.DataFrame = _empty(CAUSES)
    cause_suggestions: pl.DataFrame = _empty(CAUSE_SUGGESTIONS)
    cause_model_quality: pl.DataFrame = _empty(CAUSE_MODEL_QUALITY)
    cause_reliability: pl.DataFrame = _empty(CAUSE_RELIABILITY)
    cause_confusion: pl.DataFrame = _empty(CAUSE_CONFUSION)
    terms_values: pl.DataFrame = field(default_factory=pl.DataFrame)
    terms_water_limits: pl.DataFrame = field(default_factory=pl.DataFrame)
    terms_installation_limits: pl.DataFrame = field(default_factory=pl.DataFrame)
    figures: Mapping[str, pl.DataFrame] = field(default_factory=dict)
    attention: Sequence[str] = ()
    joins_below: Sequence[str] = ()
    tables: Sequence[str] = ()
