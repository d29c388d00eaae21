"""Start-up reports of a unit: when one was asked for and completed, and what that earns.

Belongs here: what a unit's reports say together, as of any day. Does not belong here: readings
taken at start-up (`conditions.installation_sound`).
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.calendar_days import add_days
from pipelines.coverage.declarations import Fact
from pipelines.coverage.evidence import Evidence, citation
from pipelines.terms import Terms


def startup_facts(startups: pl.DataFrame) -> pl.DataFrame:
    """What each unit's reports say together: one row a serial that has one.

    Returns:
        serial, startup_requested_on (the earliest; a report without a request date counts with
        its completion), startup_request_missing (a report lacks its request date),
        startup_completed_on (the earliest), startup_sources (sorted citations).
    """
    return startups.group_by("serial").agg(
        # 8: a report without a request counts with its completion.
        startup_requested_on=pl.coalesce("requested_on", "completed_on").min(),
        startup_request_missing=pl.col("requested_on").is_null().any(),
        startup_completed_on=pl.col("completed_on").min(),
        startup_sources=citation("startups").sort(),
    )


def request_due_on() -> pl.Expr:
    """The last day to ask for a start-up: purchased_on, else own_clock_start, and the days allowed.

    A unit that took over from another is started up itself, so its own clock counts.
    """
    begins = pl.coalesce("purchased_on", "own_clock_start")
    return add_days(begins, pl.col("request_within_days"))


def requested_in_time(complete_to: pl.Expr) -> pl.Expr:
    """Whether a start-up was asked for in time: met, unmet or unknown.

    Reads the columns of `startup_facts` (null without a report) and of `request_due_on`.
    `complete_to` is the through date of the start-up reports: silence counts from then on.
    """
    due = request_due_on()
    return (
        pl.when(pl.col("startup_requested_on") <= due)
        .then(pl.lit("met"))
        # 8: too late by what is known, but a request date that is not on file may be earlier.
        .when(pl.col("startup_request_missing"))
        .then(pl.lit("unknown"))
        .when(pl.col("startup_request_missing").is_not_null() | (complete_to >= due))
        .then(pl.lit("unmet"))
        .otherwise(pl.lit("unknown"))
    )


def completed_by(day: pl.Expr, complete_to: pl.Expr) -> pl.Expr:
    """Whether a start-up was completed by `day`: met, unmet or unknown."""
    completed = pl.col("startup_completed_on")
    return (
        pl.when(completed <= day)
        .then(pl.lit("met"))
        .when(completed.is_not_null() | (complete_to >= day))
        .then(pl.lit("unmet"))
        .otherwise(pl.lit("unknown"))
    )


def earned(requested: pl.Expr, completed: pl.Expr) -> pl.Expr:
    """Whether the start-up bonus is earned, from the two outcomes: unmet before unknown."""
    return (
        pl.when((requested == "unmet") | (completed == "unmet"))
        .then(pl.lit("unmet"))
        .when((requested == "unknown") | (completed == "unknown"))
        .then(pl.lit("unknown"))
        .otherwise(pl.lit("met"))
    )


def with_startup_outcomes(claims: pl.DataFrame, evidence: Evidence, terms: Terms) -> pl.DataFrame:
    """Adds what the start-up comes to for each claim, whether or not it bears on it.

    Returns:
        claims with request_due_on, requested and completed (by the failure), and bonus_matters:
        whether the failure lies between base and extended end of a window (decisions.md, 11).
    """
    failed = pl.col("failed_on")
    reports_to = evidence.complete_to("startups")
    between = [
        (pl.col(f"{kind}_base_end") <= failed) & (failed < pl.col(f"{kind}_extended_end"))
        for kind in ("parts", "labor")
    ]
    return claims.with_columns(
        request_due_on=request_due_on(),
        requested=requested_in_time(reports_to),
        completed=completed_by(failed, reports_to),
        bonus_matters=(between[0] | between[1]).fill_null(False),
    )


STARTUP_OUTCOMES = Fact(
    ("request_due_on", "requested", "completed", "bonus_matters"), with_startup_outcomes
)
