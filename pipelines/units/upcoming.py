"""What will cost a unit its cover unless someone acts: one row a unit and matter.

Belongs here: what is due, when, and what cover hangs on it. Does not belong here: what a claim
would make of it (`pipelines.coverage`).

Only units whose cover still runs are told of. A matter stays on the list after its day has passed
(`days_left` below 0) for as long as acting still mends something.
"""

from __future__ import annotations

from datetime import date

import polars as pl

from pipelines.coverage.calendar_days import add_days, add_months
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.findings import switched_off
from pipelines.coverage.startups import request_due_on
from pipelines.units.treatment_states import ability_mask
from pipelines.units.unit_histories import Histories, fitting_days
from pipelines.units.upcoming_sentences import sentence_to_send
from pipelines.water.limits import need_words
from schemas.columns import TEXTS, polars_schema
from schemas.histories import Upcoming

_WATER = "cover of failures that water brings about"


def upcoming_matters(evidence: Evidence, histories: Histories) -> pl.DataFrame:
    """The table `upcoming`, sorted by due date, unit and matter.

    Args:
        evidence: what is seen as of its as-of date (`pipelines.coverage.evidence.seen`).
        histories: of all units.
    """
    today = pl.lit(evidence.as_of)
    units = histories.units.join(
        evidence.models.select("model", "needs_treatment", "always_treat", "delime_by"),
        on="model",
        how="left",
    ).filter(
        (pl.col("coverage_end") > today)
        & (pl.col("retired_on").is_null() | (pl.col("retired_on") > today))
        & (pl.col("replaced_on").is_null() | (pl.col("replaced_on") > today))
    )
    units = units.with_columns(needs=_needs())
    matters = [
        _startup_request(units, today),
        _startup_outstanding(units),
        _test_outstanding(units, evidence),
        _one_a_unit(pl.concat([_treatment(units, histories), _membrane(units, evidence.as_of)])),
        _cartridge(units, histories),
        _deliming(units, evidence),
    ]
    days_left = (pl.col("due_on") - today).dt.total_days()
    names = evidence.units.select("serial", "site_name")
    return (
        pl.concat(matters)
        .filter(pl.col("due_on").is_not_null())
        .with_columns(days_left=days_left)
        .with_columns(sentence_to_send())
        .join(names, on="serial", how="left")
        .select(polars_schema(Upcoming).names())
        .sort("due_on", "serial", "matter")
    )


def _matter(units: pl.DataFrame, matter: str, due_on: pl.Expr, at_stake: pl.Expr) -> pl.DataFrame:
    return units.select(
        "serial", "site", "region", matter=pl.lit(matter), due_on=due_on, at_stake=at_stake
    )


def _bonus() -> pl.Expr:
    return pl.format(
        "the start-up bonus: parts cover to {} instead of {}, labor cover to {} instead of {}",
        "parts_extended_end",
        "parts_base_end",
        "labor_extended_end",
        "labor_base_end",
    )


def _earns() -> pl.Expr:
    """Whether the terms give a start-up any cover."""
    return pl.any_horizontal(
        pl.col(f"{kind}_extended_end") > pl.col(f"{kind}_base_end") for kind in ("parts", "labor")
    )


def _startup_request(units: pl.DataFrame, today: pl.Expr) -> pl.DataFrame:
    """No start-up was asked for, and the window to ask is still open."""
    open_still = units.filter(
        _earns()
        & pl.col("startup_requested_on").is_null()
        & (request_due_on() >= today)
        & ~switched_off("startup_requested_in_time")
    )
    return _matter(open_still, "start-up request due", request_due_on(), _bonus())


def _startup_outstanding(units: pl.DataFrame) -> pl.DataFrame:
    """Asked for in time and not done: it counts for failures from its completion on."""
    waiting = units.filter(
        _earns()
        & (pl.col("requested_in_time") == "met")
        & pl.col("startup_completed_on").is_null()
        & ~switched_off("startup_completed")
    )
    first_end = pl.min_horizontal("parts_base_end", "labor_base_end")
    return _matter(waiting, "start-up outstanding", first_end, _bonus())


def _needs() -> pl.Expr:
    """What a claim would hold the unit to: scale where it is always treated and nothing is over."""
    tested, needs = pl.col("first_complete_on").is_not_null(), pl.col("needs")
    always = pl.col("always_treat") & tested & (needs.list.len() == 0)
    return pl.when(always).then(pl.lit(["scale"], TEXTS)).otherwise(needs)


def _test_outstanding(units: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """The water of a unit that needs treatment was sampled, and no complete test came of it.

    Sampled at a start-up, or for a test that lacks what the terms ask for; a sample of the site
    from before the unit's own clock counts from that.
    """
    at_startup = (
        evidence.startups.filter(pl.col("sample_taken") & pl.col("completed_on").is_not_null())
        .group_by("serial")
        .agg(sampled_on=pl.col("completed_on").min())
    )
    waiting = units.filter(
        pl.col("needs_treatment")
        & pl.col("first_complete_on").is_null()
        & ~switched_off("water_tested")
    ).join(at_startup, on="serial", how="left")
    first = pl.min_horizontal("sampled_on", "first_sampled_on")
    since = pl.when(first.is_not_null()).then(pl.max_horizontal(first, "own_clock_start"))
    due = add_days(since, pl.col("grace_days"))
    return _matter(waiting, "test outstanding", due, pl.lit(_WATER))


def _treatment(units: pl.DataFrame, histories: Histories) -> pl.DataFrame:
    """The water calls for a treatment, and none that does it all is fitted.

    Due as the grace of a claim runs: from the first complete test, or the clock start if later.
    """
    wanting = units.filter(
        pl.col("needs_treatment")
        & pl.col("first_complete_on").is_not_null()
        & (pl.col("needs").list.len() > 0)
        & ~switched_off("treatment_installed")
    )
    untreated = wanting.join(fitting_days(wanting, histories.fitted), on="serial", how="anti")
    within = pl.col("water_profile") == "within limits"
    by_model = pl.when(within).then(pl.lit("model is always treated against"))
    why = by_model.otherwise(pl.lit("water needs treatment for"))
    stake = pl.format("{}; the {} {}", pl.lit(_WATER), why, need_words(pl.col("needs")))
    due = add_days(pl.max_horizontal("first_complete_on", "clock_start"), pl.col("grace_days"))
    return _matter(untreated, "treatment due", due, pl.concat_str(stake, _not_removed()))


def _not_removed() -> pl.Expr:
    """What is fitted and what it leaves; empty where nothing is fitted."""
    words = pl.format(
        "; fitted: {}, not removed: {}",
        pl.col("fitted_products").list.join(", "),
        need_words(pl.col("treatment_unmet")),
    )
    return pl.when(pl.col("treatment_unmet").list.len() > 0).then(words).otherwise(pl.lit(""))


def _membrane(units: pl.DataFrame, as_of: date) -> pl.DataFrame:
    """Reverse osmosis that cannot keep up in the coldest month; to be mended before winter.

    The first of December is common practice, no source.
    """
    winter = date(as_of.year + (as_of > date(as_of.year, 12, 1)), 12, 1)
    short = units.filter(
        pl.col("needs_treatment") & ~pl.col("membrane_keeps_up") & (pl.col("coverage_end") > winter)
    )
    made, drawn = pl.col("membrane_output_l_per_day"), pl.col("membrane_demand_l_per_day")
    why = (
        pl.when(made < drawn)
        .then(pl.format("{} L a day too little", (drawn - made).ceil().cast(pl.Int64)))
        .otherwise(pl.lit("and no tank on sale bridges a day's duty"))
    )
    stake = pl.format(
        "{}; in the coldest month {} makes {} L of the {} L that the kitchen draws a day, {}",
        pl.lit(_WATER),
        pl.col("membranes").list.join(", "),
        made.floor().cast(pl.Int64),
        drawn.ceil().cast(pl.Int64),
        why,
    )
    return _matter(short, "treatment due", pl.lit(winter), stake)


def _one_a_unit(matters: pl.DataFrame) -> pl.DataFrame:
    """One row a unit: the earliest day, and all that is at stake."""
    return (
        matters.sort("serial", "due_on", "at_stake", nulls_last=True)
        .group_by("serial", "site", "region", "matter", maintain_order=True)
        .agg(pl.col("due_on").min(), pl.col("at_stake").str.join("; "))
    )


def _cartridge(units: pl.DataFrame, histories: Histories) -> pl.DataFrame:
    """A fitted system that serves the water's needs and whose cartridge runs out, or has."""
    lasting = histories.covers.group_by("serial", "product").agg(due=pl.col("lasts_until").max())
    needed = ability_mask(pl.col("needs"))
    serving = (
        histories.fitted.join(lasting, on=["serial", "product"])
        .join(units.select("serial", needed=needed), on="serial")
        .filter((ability_mask(pl.col("removes")) & pl.col("needed")) > 0)
        .sort("serial", "due", "product")
        .unique("serial", keep="first", maintain_order=True)
        .select("serial", "due", "product")
    )
    asking = units.filter(pl.col("needs_treatment") & ~switched_off("treatment_maintained"))
    due = asking.join(serving, on="serial")
    stake = pl.format("{}; the cartridge of {} runs out", pl.lit(_WATER), "product")
    return _matter(due, "cartridge due", pl.col("due"), stake)


def _deliming(units: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """From the last deliming that counts: where a technician must do it, only a technician's."""
    held = pl.col("needs_treatment") & (pl.col("delime_by") != "none")
    asking = units.filter(held & ~switched_off("delimed"))
    counts = (pl.col("delime_by") != "technician") | (pl.col("performed_by") == "technician")
    done = (
        evidence.service_calls.filter(pl.col("kind") == "delime")
        .join(asking.select("serial", "delime_by"), on="serial")
        .filter(counts.fill_null(False))
        .group_by("serial")
        .agg(counted_on=pl.col("completed_on").max())
    )
    delimed = asking.join(done, on="serial", how="left").with_columns(
        since=pl.max_horizontal("counted_on", "own_clock_start")
    )
    due = add_days(
        add_months(pl.col("since"), pl.col("delime_months")), pl.col("delime_grace_days")
    )
    stake = pl.format(
        "cover of scale failures; deliming is for the {} under the manual, with the acid's "
        "safety sheet at hand",
        "delime_by",
    )
    return _matter(delimed, "deliming due", due, stake)
