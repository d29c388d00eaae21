"""What each completed start-up report comes to: sound, incomplete or unsound, and its water test.

Belongs here: adding up the readings of a report. Does not belong here: single readings
(`installation_findings`).
"""

from __future__ import annotations

from datetime import date

import polars as pl

from pipelines.coverage.calendar_days import add_days
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
        .sort("serial", "completed_on", "report")
        .with_columns(latest=pl.int_range(pl.len()).over("serial") == pl.len().over("serial") - 1)
        .with_columns(result=result)
        .with_columns(sentence=_sentence())
        .select(polars_schema(StartupReviews).names())
        .sort("report")
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

    def words(column: str) -> pl.Expr:
        return pl.col(column).str.replace_all("_", " ")

    found = (
        pl.when((pl.col("result") == "unsound") & pl.col("missing").is_not_null())
        .then(pl.format("To be mended: {}; not reported: {}.", words("faults"), words("missing")))
        .when(pl.col("result") == "unsound")
        .then(pl.format("To be mended: {}.", words("faults")))
        .when(pl.col("result") == "incomplete")
        .then(pl.format("Not reported: {}.", words("missing")))
        .otherwise(pl.lit("Nothing to mend."))
    )
    return pl.format("Start-up completed on {}. {} {}", "completed_on", found, sample)


def installation_on(reviews: pl.DataFrame, day: date) -> pl.DataFrame:
    """The result of the latest review of each unit completed by a day: serial, installation."""
    return (
        reviews.filter(pl.col("completed_on") <= day)
        .sort("serial", "completed_on", "report")
        .unique("serial", keep="last", maintain_order=True)
        .select("serial", installation="result")
    )


def installation_spans(units: pl.DataFrame, reviews: pl.DataFrame) -> pl.DataFrame:
    """The result of the latest review by each day of every unit, as spans that follow each other.

    Args:
        units: serial, from_on, until_on (half-open; the days that are asked about).
        reviews: of `startup_reviews`.

    Returns:
        serial, from_on, until_on (half-open), installation (`sound`, `incomplete`, `unsound`;
        `none` before the first start-up); the spans of a unit join up, and neighbors differ.
    """
    dated = (
        reviews.sort("serial", "completed_on", "report")
        .unique(["serial", "completed_on"], keep="last", maintain_order=True)
        .select("serial", day="completed_on", installation="result")
    )
    asked = units.select("serial", "from_on", "until_on").filter(
        pl.col("from_on") < pl.col("until_on")
    )
    changes = asked.join(dated, on="serial").with_columns(start=pl.max_horizontal("day", "from_on"))
    first = asked.with_columns(
        start="from_on", day=pl.lit(None, pl.Date), installation=pl.lit("none")
    )
    columns = ["serial", "from_on", "until_on", "start", "day", "installation"]
    return (
        pl.concat([first.select(columns), changes.select(columns)])
        .filter(pl.col("start") < pl.col("until_on"))
        .sort("serial", "from_on", "start", "day", nulls_last=False)
        # Of several by one day the latest counts.
        .unique(["serial", "from_on", "start"], keep="last", maintain_order=True)
        .with_columns(run=pl.col("installation").rle_id().over("serial", "from_on"))
        .group_by("serial", "from_on", "run", maintain_order=True)
        .agg(pl.col("start").first(), pl.col("installation").first(), pl.col("until_on").first())
        .select(
            "serial",
            from_on="start",
            until_on=pl.coalesce(pl.col("start").shift(-1).over("serial", "from_on"), "until_on"),
            installation="installation",
        )
    )
