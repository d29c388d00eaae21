"""The warnings of a night as one table, each with its statistic and a sentence.

Belongs here: putting the checks together. Does not belong here: the statistics
(`claim_counts`, `laboratories`), or what stops a night.
"""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipelines.nightly import claim_counts
from pipelines.nightly.laboratories import laboratory_drift
from pipelines.records.repairs import filing_day
from schemas.accounts import NightChecks
from schemas.columns import polars_schema
from schemas.wording import days as days_text

SCHEMA = polars_schema(NightChecks)
FRESH = "days since the through date"
SHARE = "share of rows set aside"
COUNT = "claims of the week, quasi-Poisson limits on the 2/3 power (Farrington 1996)"
DRIFT = "median, rank-sum test (Mann & Whitney 1947), q by Benjamini & Hochberg 1995"


def night_checks(
    feeds: pl.DataFrame,
    decisions: pl.DataFrame,
    water_tests: pl.DataFrame,
    as_of: dt.date,
    stale_after_days: int,
    tolerance: float,
) -> pl.DataFrame:
    """Every check of one night.

    Args:
        feeds: feed_states: feed, through_date, stale, rows_read, set_aside_share, beyond_tolerance.
        decisions: claim, opened_on, claimed_on.
        water_tests: records of water tests.
        as_of: the day of the decisions.
        stale_after_days, tolerance: as in the settings.

    Returns:
        NightChecks; `passed` is null where too little is known to tell.
    """
    through = dict(zip(feeds["feed"], feeds["through_date"], strict=True))
    parts = [
        _freshness(feeds, as_of, stale_after_days),
        _shares(feeds, tolerance),
        _claims(decisions, through.get("service_calls") or as_of),
        _laboratories(water_tests, through.get("water_tests") or as_of),
    ]
    return pl.concat([SCHEMA.to_frame(), *parts]).sort("check", "subject")


def _freshness(feeds: pl.DataFrame, as_of: dt.date, most: int) -> pl.DataFrame:
    days = (pl.lit(as_of) - pl.col("through_date")).dt.total_days().cast(pl.Float64)
    known = (
        pl.when(pl.col("through_date").is_null())
        .then(pl.lit("no day"))
        .otherwise(pl.col("through_date").cast(pl.String))
    )
    allowed = f"{days_text(most)} {'is' if most == 1 else 'are'}"
    has_delivered = (pl.col("rows_read") > 0) | pl.col("through_date").is_not_null()
    return feeds.filter(has_delivered).select(
        check=pl.lit("freshness"),
        subject="feed",
        passed=~pl.col("stale"),
        observed=days,
        low=pl.lit(None, pl.Float64),
        high=pl.lit(float(most)),
        statistic=pl.lit(FRESH),
        sentence=pl.format("{} is complete to {}; {} allowed.", "feed", known, pl.lit(allowed)),
    )


def _shares(feeds: pl.DataFrame, tolerance: float) -> pl.DataFrame:
    percent = (pl.col("set_aside_share") * 100).round(2)
    return feeds.filter(pl.col("rows_read") > 0).select(
        check=pl.lit("set_aside_share"),
        subject="feed",
        passed=~pl.col("beyond_tolerance"),
        observed="set_aside_share",
        low=pl.lit(None, pl.Float64),
        high=pl.lit(tolerance),
        statistic=pl.lit(SHARE),
        sentence=pl.format(
            "{} % of the rows of {} are set aside; {} % are allowed.",
            percent,
            "feed",
            pl.lit(round(tolerance * 100, 2)),
        ),
    )


def _claims(decisions: pl.DataFrame, through: dt.date) -> pl.DataFrame:
    filed = decisions.select(filing_day().alias("filed"))["filed"]
    counts = claim_counts.weekly_counts(filed, through)
    before = counts.filter(pl.col("week") > 0)["claims"]
    week = counts.filter(pl.col("week") == 0)["claims"]
    observed = int(week[0]) if week.len() else 0
    bounds = claim_counts.limits(before)
    ending = f"{observed} claims were filed in the week to {through}"
    if bounds is None:
        passed, low, high = None, None, None
        sentence = f"{ending}; the weeks before are too few to compare with."
    else:
        low, high = bounds
        passed = low <= observed <= high
        sentence = f"{ending}; {low:.1f} to {high:.1f} are as in the {before.len()} weeks before."
    row = {
        "check": "claim_count",
        "subject": "claims",
        "passed": passed,
        "observed": float(observed),
        "low": low,
        "high": high,
        "statistic": COUNT,
        "sentence": sentence,
    }
    return pl.DataFrame([row], schema=SCHEMA)


def _laboratories(tests: pl.DataFrame, through: dt.date) -> pl.DataFrame:
    drift = laboratory_drift(tests, through)
    return drift.select(
        check=pl.lit("laboratory_values"),
        subject=pl.format("{}: {}", "lab", "analyte"),
        passed=~pl.col("drifted"),
        observed="recent_median",
        low=pl.lit(None, pl.Float64),
        high=pl.lit(None, pl.Float64),
        statistic=pl.lit(DRIFT),
        sentence=pl.format(
            "The median {} of {} is {} in its last {} tests and was {} in the {} before "
            "(z {}, q {}){}.",
            "analyte",
            "lab",
            pl.col("recent_median").round(3),
            "recent",
            pl.col("before_median").round(3),
            "before",
            pl.col("z").round(1),
            pl.col("q_value").round(4),
            pl.when("drifted")
            .then(pl.lit("; another unit, another method or a new set of sites can do that"))
            .otherwise(pl.lit("")),
        ),
    )
