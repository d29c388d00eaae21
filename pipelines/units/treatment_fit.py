"""Whether what is fitted does what the water needs, also in the coldest month.

Belongs here: joining each unit's water and systems with the sums of `pipelines.water`. Does not
belong here: the sums, or which systems count (`treatment_states.fitted_systems`).
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipelines.coverage.evidence import Evidence
from pipelines.water.membrane import membranes_in_the_cold
from pipelines.water.treatment import treatment_fit


def fit_of_units(
    units: pl.DataFrame,
    fitted: pl.DataFrame,
    evidence: Evidence,
    *,
    duty_hours_per_day: float,
    tanks_l: Sequence[float],
) -> pl.DataFrame:
    """What the fitted systems leave undone, and whether reverse osmosis keeps up in the cold.

    A membrane is reckoned for one unit alone: water that units share is not shared out.

    Args:
        units: serial, model, region, water_profile, needs.
        fitted: of `fitted_systems`.
        evidence: what is seen as of its as-of date.
        duty_hours_per_day: setting.
        tanks_l: setting, the tanks that the maker sells.

    Returns:
        One row a unit with a fitted system: serial, fitted_products, treatment_unmet (null where
        the water is untested), membranes (null without reverse osmosis, as all that follows),
        membrane_keeps_up, membrane_output_l_per_day, membrane_demand_l_per_day.
    """
    fitted_units = units.join(fitted.select("serial").unique(), on="serial", how="semi")
    unmet = treatment_fit(fitted_units, fitted, evidence.treatments).join(
        fitted_units.select("serial", "water_profile"), on="serial"
    )
    membranes = evidence.treatments.filter(pl.col("rated_output_l_per_h").is_not_null())
    cold = membranes_in_the_cold(
        fitted_units.join(evidence.models.select("model", "feed_l_per_h"), on="model", how="left"),
        fitted,
        evidence.treatments,
        evidence.regions,
        duty_hours_per_day=duty_hours_per_day,
        tanks_l=tanks_l,
    )
    return (
        unmet.select(
            "serial",
            fitted_products="fitted",
            # What untested water asks for is not known.
            treatment_unmet=pl.when(pl.col("water_profile") != "untested").then("unmet"),
        )
        .join(_names(fitted, membranes), on="serial", how="left")
        .join(
            cold.select(
                "serial",
                membrane_keeps_up="keeps_up",
                # Sums in another order differ in their last bits, and a table must not.
                membrane_output_l_per_day=pl.col("output_l_per_day").round(9),
                membrane_demand_l_per_day=pl.col("demand_l_per_day").round(9),
            ),
            on="serial",
            how="left",
        )
    )


def _names(fitted: pl.DataFrame, membranes: pl.DataFrame) -> pl.DataFrame:
    """The membranes of each unit that has any: serial, membranes (a sorted list)."""
    return (
        fitted.join(membranes.select("product"), on="product", how="semi")
        .group_by("serial")
        .agg(membranes=pl.col("product").unique().sort())
    )
