"""What belongs to a unit: the water tests and purchases that count for it, also by its site.

Belongs here: laying out for whoever joins tables what the rules take to be a unit's. Does not
belong here: what follows for a claim (`supply_tests`, `claim_treatment`).
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.treatment import purchases_for
from pipelines.terms import Terms
from pipelines.water.limits import needs_of
from schemas import codes


def samples_of_units(units: pl.DataFrame, water_tests: pl.DataFrame, terms: Terms) -> pl.DataFrame:
    """The water tests of each unit: those of its site, and those that name its serial.

    Args:
        units: serial, site, edition, family.
        water_tests: what is seen of the feed.

    Returns:
        serial, sample, complete: whether it is a supply test that reports the panel of the unit's
        terms.
    """
    unit_keys = units.select("serial", "site", "edition", "family")
    pairs = pl.concat(
        [
            unit_keys.drop("site").join(water_tests.select("serial", "sample"), on="serial"),
            unit_keys.join(water_tests.select("site", "sample"), on="site").drop("site"),
        ]
    ).unique(["serial", "sample"])
    supply = water_tests.filter(pl.col("point") == "supply")
    numbers = [*codes.ANALYTES, *(f"{name}_below" for name in codes.ANALYTES)]
    to_judge = pairs.select("sample", "edition", "family").drop_nulls().unique()
    judged = needs_of(
        to_judge.join(supply.select("sample", *numbers), on="sample"),
        terms.water_limits,
        terms.values,
        in_words=False,
    )
    complete = judged.select("sample", "edition", "family", "complete")
    return (
        pairs.join(complete, on=["sample", "edition", "family"], how="left")
        .select("serial", "sample", pl.col("complete").fill_null(False))
        .sort("serial", "sample")
    )


def orders_of_units(
    units: pl.DataFrame, purchases: pl.DataFrame, treatments: pl.DataFrame, terms: Terms
) -> pl.DataFrame:
    """The order lines of each unit: those with its serial, or with no serial and its site.

    Args:
        units: serial, site, edition, family.
        purchases: what is seen of the feed.

    Returns:
        serial, order, line, approved_seller, bought_new.
    """
    sellers = terms.values.select("edition", "family", "sellers")
    placed = units.select("serial", "site", "edition", "family").join(
        sellers, on=["edition", "family"], how="left"
    )
    return (
        purchases_for(placed, purchases, treatments)
        .select(
            "serial",
            "order",
            "line",
            approved_seller="approved",
            bought_new=pl.col("condition") == "new",
        )
        .sort("serial", "order", "line")
    )
