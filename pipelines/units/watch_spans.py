"""The days watched of every unit, split wherever its water, its treatment or its products change.

Belongs here: laying the three out beside each other. Does not belong here: what each of them is
(`water_of_days`, `treatment_states`).
"""

from __future__ import annotations

import polars as pl

NO_PRODUCT = "none"
COLUMNS = ("serial", "from_on", "until_on", "sample", "needs", "severity", "treatment", "product")


def watch_spans(waters: pl.DataFrame, states: pl.DataFrame, fitted: pl.DataFrame) -> pl.DataFrame:
    """One row a unit and stretch of days.

    Args:
        waters: of `water_of_days.waters_in_force`.
        states: of `treatment_states.treatment_states`.
        fitted: of `treatment_states.fitted_systems`.

    Returns:
        serial, from_on, until_on (the first day that is not of it), sample, needs, severity (of
        the water of the day), treatment (the state), product (the good systems installed by then,
        in alphabetical order, joined by `+`, or `none`); by serial and day, joined up from the
        first day watched to the last.
    """
    watched = waters.group_by("serial").agg(
        watched_from=pl.col("from_on").min(), watched_until=pl.col("until_on").max()
    )
    products = _products(watched, fitted)
    edges = (
        pl.concat(
            [
                waters.select("serial", "from_on"),
                states.select("serial", from_on="from_day"),
                products.select("serial", "from_on"),
            ]
        )
        .unique()
        .sort("serial", "from_on")
        .join(watched.select("serial", "watched_until"), on="serial", maintain_order="left")
        .with_columns(
            until_on=pl.coalesce(pl.col("from_on").shift(-1).over("serial"), "watched_until")
        )
    )
    laid = edges.sort("from_on")
    # Each side holds from its own edge until its next one.
    for side in (
        waters.select("serial", "from_on", "sample", "needs", "severity"),
        states.select("serial", from_on="from_day", treatment="state"),
        products,
    ):
        laid = laid.join_asof(
            side.sort("from_on"), on="from_on", by="serial", check_sortedness=False
        )
    return (
        laid.with_columns(pl.col("product").fill_null(NO_PRODUCT))
        .select(COLUMNS)
        .sort("serial", "from_on")
    )


def no_systems() -> pl.DataFrame:
    """What `fitted` needs, without a row."""
    return pl.DataFrame(schema={"serial": pl.String, "product": pl.String, "active_from": pl.Date})


def _products(watched: pl.DataFrame, fitted: pl.DataFrame) -> pl.DataFrame:
    """From when on which products are installed together: serial, from_on, product."""
    own = (
        fitted.join(watched, on="serial")
        .select(
            "serial",
            "watched_until",
            name="product",
            from_on=pl.max_horizontal("active_from", "watched_from"),
        )
        .filter(pl.col("from_on") < pl.col("watched_until"))
    )
    days = own.select("serial", "from_on").unique()
    return (
        days.join(own.select("serial", "name", since="from_on"), on="serial")
        # Nothing tells of a system being taken out, so that products only add up.
        .filter(pl.col("since") <= pl.col("from_on"))
        .group_by("serial", "from_on")
        .agg(product=pl.col("name").unique().sort().str.join("+"))
        .sort("serial", "from_on")
    )
