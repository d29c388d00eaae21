"""What came in about start-ups and waters since the last refresh, with the next step for each.

Belongs here: one row a request, report or result, and what should happen now. Does not belong
here: what a report or a water comes to (`startup_reviews`, `treatment_recommendations`).
"""

from __future__ import annotations

import polars as pl

from pipelines.startups.readings import reading_words
from schemas.startups import CAME_IN

_SETTLED = ("none_needed", "kept_up")
_NOTHING = "Nothing more."


def what_came_in(
    reports: pl.DataFrame,
    results: pl.DataFrame,
    reviews: pl.DataFrame,
    recommendations: pl.DataFrame,
    upcoming: pl.DataFrame,
) -> pl.DataFrame:
    """What is new, what asks for something first, by the day on which it is due.

    Args:
        reports: report, serial, site_name, agency, requested_on, completed_on of new start-ups.
        results: sample, serial, site_name, reported_on, complete of new supply tests, one row a
            test and unit.
        reviews, recommendations, upcoming: the tables, of at least these units.

    Returns:
        The columns of CAME_IN.
    """
    advised = recommendations.select(
        "serial", "state", advised="sentence", treat_by="due_on", water_stake="at_stake"
    )
    rows = pl.concat(
        [
            _requests(reports, upcoming),
            _reports(reports, reviews, advised),
            _results(results, advised),
        ]
    )
    asks = pl.col("next_step") != _NOTHING
    return rows.sort(~asks, "due_on", "serial", "key", nulls_last=True).select(CAME_IN.names())


def _requests(reports: pl.DataFrame, upcoming: pl.DataFrame) -> pl.DataFrame:
    """Start-ups that were asked for and are not done."""
    waiting = upcoming.filter(pl.col("matter") == "start-up outstanding").select(
        "serial", "due_on", "at_stake"
    )
    return (
        reports.filter(pl.col("completed_on").is_null())
        .unique("report")
        .join(waiting, on="serial", how="left")
        .select(
            kind=pl.lit("request"),
            key="report",
            on="requested_on",
            serial="serial",
            site_name="site_name",
            agency="agency",
            says=pl.lit("A start-up was asked for."),
            next_step=pl.lit(
                "Have it completed, with a sample of the supply, and its report sent."
            ),
            due_on="due_on",
            at_stake="at_stake",
        )
    )


def _reports(reports: pl.DataFrame, reviews: pl.DataFrame, advised: pl.DataFrame) -> pl.DataFrame:
    """Completed start-ups: what is to be mended, else told, else done about the water."""
    mend = pl.format("Have licensed people mend it and report again: {}.", reading_words("faults"))
    ask = pl.format("Ask the agency for: {}.", reading_words("missing"))
    to_treat = pl.col("state").is_not_null() & ~pl.col("state").is_in(_SETTLED)
    return (
        reports.filter(pl.col("completed_on").is_not_null())
        .select("report")
        .unique()
        .join(reviews, on="report")
        .join(advised, on="serial", how="left")
        .select(
            kind=pl.lit("report"),
            key="report",
            on="completed_on",
            serial="serial",
            site_name="site_name",
            agency="agency",
            says="sentence",
            next_step=pl.when(pl.col("faults").is_not_null())
            .then(mend)
            .when(pl.col("missing").is_not_null())
            .then(ask)
            .when(to_treat)
            .then("advised")
            .otherwise(pl.lit(_NOTHING)),
            due_on=pl.when(pl.col("faults").is_not_null())
            .then("completed_on")
            .when(to_treat)
            .then("treat_by"),
            at_stake=pl.when(pl.col("faults").is_not_null())
            .then(pl.lit("cover of failures that the installation brings about (condition 14)"))
            .when(to_treat)
            .then("water_stake"),
        )
    )


def _results(results: pl.DataFrame, advised: pl.DataFrame) -> pl.DataFrame:
    """Results of laboratories: what the water calls for, or what is still to be told."""
    to_treat = pl.col("state").is_not_null() & ~pl.col("state").is_in(_SETTLED)
    return results.join(advised, on="serial", how="left").select(
        kind=pl.lit("result"),
        key="sample",
        on="reported_on",
        serial="serial",
        site_name="site_name",
        agency=pl.lit(None, pl.String),
        says=pl.when("complete")
        .then(pl.lit("A complete result of the supply came."))
        .otherwise(pl.lit("A result came that lacks a part of the panel.")),
        next_step=pl.when(to_treat).then("advised").otherwise(pl.lit(_NOTHING)),
        due_on=pl.when(to_treat).then("treat_by"),
        at_stake=pl.when(to_treat).then("water_stake"),
    )
