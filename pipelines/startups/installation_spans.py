"""The installation of each unit day by day: the result of its latest review by then.

Belongs here: laying reviews out in spans, and splitting other spans by them. Does not belong here:
what a report comes to (`startup_reviews`), rates by it (`pipelines.field`).
"""

from __future__ import annotations

import polars as pl


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
        # Of several reports of a day the greatest number is the latest.
        .unique(["serial", "completed_on"], keep="last", maintain_order=True)
        .select("serial", day="completed_on", installation="result")
    )
    spans = units.select("serial", "from_on", "until_on").filter(
        pl.col("from_on") < pl.col("until_on")
    )
    changes = spans.join(dated, on="serial").with_columns(start=pl.max_horizontal("day", "from_on"))
    first = spans.with_columns(
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


def with_installation(spans: pl.DataFrame, reviews: pl.DataFrame) -> pl.DataFrame:
    """Spans of units split where their installation changes.

    Args:
        spans: serial, from_on, until_on (half-open) and anything else.
        reviews: of `startup_reviews`.

    Returns:
        The same with installation; a span within which it changes is several.
    """
    whole = spans.group_by("serial").agg(pl.col("from_on").min(), pl.col("until_on").max())
    by_day = installation_spans(whole, reviews).rename({"from_on": "_from", "until_on": "_until"})
    return (
        spans.join(by_day, on="serial")
        .with_columns(
            from_on=pl.max_horizontal("from_on", "_from"),
            until_on=pl.min_horizontal("until_on", "_until"),
        )
        .filter(pl.col("from_on") < pl.col("until_on"))
        .drop("_from", "_until")
        .sort("serial", "from_on")
    )
