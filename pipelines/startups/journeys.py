"""How far each unit has come from its sale to a treatment that is kept up: one row a unit.

Belongs here: the days of the steps. Does not belong here: how long steps take over many units
(`journey_rates`).
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage import startups
from pipelines.coverage.calendar_days import add_days
from pipelines.coverage.findings import switched_off
from pipelines.startups.held_treatment import Held
from pipelines.startups.protection import first_days, protected_to
from pipelines.startups.reviewed_units import Reviewed, earliest_test
from pipelines.startups.startup_reviews import installation_on

_OF_UNIT = (
    "serial",
    "model",
    "family",
    "region",
    "shipped_on",
    "purchased_on",
    "own_clock_start",
    "retired_on",
    "replaced_on",
    "edition",
    "request_within_days",
    "conditions_off",
    "needs_treatment",
)


def journeys(look: Reviewed, held: Held, reviews: pl.DataFrame) -> pl.DataFrame:
    """The table `journeys`, by serial.

    Args:
        look: all units of the register.
        held: of `held_treatment`.
        reviews: of `startup_reviews`.

    Returns:
        The columns of `schemas.startups.Journeys`.
    """
    tested = earliest_test(look.tests.filter("complete")).select(
        "serial", sampled_on="test_sampled_on", reported_on="test_reported_on"
    )
    needs = held.earliest.select("serial", needed=pl.col("needs").list.len() > 0)
    installed = first_days(held.systems, held.earliest, "installed_on")
    facts = [
        startups.startup_facts(look.evidence.startups),
        installation_on(reviews, look.evidence.as_of),
        _agencies(look.evidence.startups),
        tested,
        needs,
        first_days(held.systems, held.earliest, "bought_on"),
        installed,
        _first_lapses(look, held, installed),
    ]
    units = look.units.select(_OF_UNIT)
    for fact in facts:
        units = units.join(fact, on="serial", how="left")
    # Many registers have no day of purchase.
    sold_on = pl.coalesce("purchased_on", "shipped_on")
    needed = pl.when(pl.col("needs_treatment")).then("needed").when(~pl.col("needs_treatment"))
    return units.select(
        "serial",
        "model",
        "family",
        "region",
        purchased=pl.format("{}-Q{}", sold_on.dt.year(), sold_on.dt.quarter()),
        purchased_on="purchased_on",
        requested_on="startup_requested_on",
        requested_in_time=_requested_in_time(look),
        completed_on="startup_completed_on",
        installation="installation",
        sampled_on="sampled_on",
        reported_on="reported_on",
        needs_treatment=needed.then(pl.lit(False)),
        bought_on="bought_on",
        installed_on="installed_on",
        first_lapse_on="first_lapse_on",
        agency="agency",
        left_on=pl.min_horizontal("retired_on", "replaced_on"),
    ).sort("serial")


def _requested_in_time(look: Reviewed) -> pl.Expr:
    """Condition 8 as it counts in earned: switched off it is met; null without an edition."""
    requested = startups.requested_in_time(look.evidence.complete_to("startups"))
    counted = (
        pl.when(switched_off("startup_requested_in_time")).then(pl.lit("met")).otherwise(requested)
    )
    return pl.when(pl.col("edition").is_not_null()).then(counted)


def _agencies(reports: pl.DataFrame) -> pl.DataFrame:
    """The agency of the report completed first, else requested first, then the least report."""
    requested = pl.when(pl.col("completed_on").is_null()).then("requested_on")
    return (
        reports.with_columns(_requested=requested)
        .sort("serial", "completed_on", "_requested", "report", nulls_last=True)
        .unique("serial", keep="first", maintain_order=True)
        .select("serial", "agency")
    )


def _first_lapses(look: Reviewed, held: Held, installed: pl.DataFrame) -> pl.DataFrame:
    """The first day after the installation on which the needs are not kept up with."""
    tests = held.earliest.join(installed, on="serial")
    units = tests.select("serial", "severity", "needs", start=add_days(pl.col("installed_on"), 1))
    lapse = add_days(pl.col("until_on"), 1)
    return (
        protected_to(units, held.windows)
        .select("serial", first_lapse_on=lapse)
        .filter(pl.col("first_lapse_on") <= look.evidence.as_of)
    )
