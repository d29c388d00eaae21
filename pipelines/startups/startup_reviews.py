"""What each completed start-up report comes to: sound, incomplete or unsound, and its water test.

Belongs here: adding up the readings of a report. Does not belong here: single readings
(`installation_findings`).
"""

from __future__ import annotations

from datetime import date

import polars as pl

from pipelines.coverage.calendar_days import add_days
from pipelines.startups.readings import reading_words
from pipelines.startups.reviewed_units import SAMPLED_AHEAD_DAYS, Reviewed, earliest_test
from schemas.columns import polars_schema
from schemas.startups import StartupReviews


def startup_reviews(look: Reviewed, reports: pl.DataFrame, readings: pl.DataFrame) -> pl.DataFrame:
    """The table `startup_reviews`, by report.

    Args:
        look: the units and their supply tests.
        reports: of `completed_reports`.
        readings: of `judged_readings`, of the same reports.
    """
    faults = pl.col("outcome") == "unsound"
    missing = (pl.col("outcome") == "not_reported") & pl.col("must")
    by_report = (
        readings.filter(faults | missing)
        .group_by("report", maintain_order=True)
        .agg(
            faults=pl.col("reading").filter(faults).str.join("; "),
            missing=pl.col("reading").filter(missing).str.join("; "),
        )
        .with_columns(pl.col("faults", "missing").replace("", None))
        .with_columns(to_do=_to_do())
    )
    result = (
        pl.when(pl.col("faults").is_not_null())
        .then(pl.lit("unsound"))
        .when(pl.col("missing").is_not_null())
        .then(pl.lit("incomplete"))
        .otherwise(pl.lit("sound"))
    )
    return (
        reports.join(by_report, on="report", how="left")
        .join(_samples(reports, look.tests), on="report", how="left")
        .join(_latest(reports), on="report", how="left")
        .with_columns(latest=pl.col("latest").fill_null(False), result=result)
        .with_columns(sentence=_sentence())
        .select(polars_schema(StartupReviews).names())
        .sort("report")
    )


def _latest(reports: pl.DataFrame) -> pl.DataFrame:
    """The latest report of each unit, by completion, then the greatest: report, latest."""
    last = reports.group_by("serial").agg(pl.col("completed_on").max())
    return (
        reports.select("serial", "completed_on", "report")
        .join(last, on=["serial", "completed_on"], how="semi")
        .group_by("serial")
        .agg(pl.col("report").max())
        .select("report", latest=pl.lit(True))
    )


def _samples(reports: pl.DataFrame, tests: pl.DataFrame) -> pl.DataFrame:
    """The earliest complete supply test that goes with each report: report, sample."""
    ahead = add_days(pl.col("completed_on"), -SAMPLED_AHEAD_DAYS)
    pairs = (
        reports.select("serial", "report", since=ahead)
        .join(tests.filter("complete"), on="serial")
        .filter(pl.col("test_sampled_on") >= pl.col("since"))
    )
    own = earliest_test(pairs.drop("serial").rename({"report": "serial"}))
    return own.select(report="serial", sample="test_sample")


def _sentence() -> pl.Expr:
    sample = (
        pl.when(pl.col("sample").is_not_null())
        .then(pl.format("Its water was tested: sample {}.", "sample"))
        .when(pl.col("sample_taken"))
        .then(pl.lit("A sample was taken; no complete result is there yet."))
        .otherwise(pl.lit("No complete water test goes with it."))
    )

    to_do = pl.col("to_do").fill_null("Nothing to mend.")
    return pl.format("Start-up completed on {}. {} {}", "completed_on", to_do, sample)


def _to_do() -> pl.Expr:
    """What is to be mended or reported, of a report of which something is."""
    faults, missing = reading_words("faults"), reading_words("missing")
    return pl.coalesce(
        pl.format("To be mended: {}; not reported: {}.", faults, missing),
        pl.format("To be mended: {}.", faults),
        pl.format("Not reported: {}.", missing),
    )


def installation_on(reviews: pl.DataFrame, day: date) -> pl.DataFrame:
    """The result of the latest review of each unit completed by a day: serial, installation."""
    return (
        reviews.filter(pl.col("completed_on") <= day)
        .sort("serial", "completed_on", "report")
        .unique("serial", keep="last", maintain_order=True)
        .select("serial", installation="result")
    )
