"""How long the steps of a unit's way take, and what share is done within some days.

Belongs here: waiting times by step and group, with units that have not come so far counted for as
long as they were followed. Does not belong here: the days of one unit (`journeys`), the estimator
(`pipelines.units.kaplan_meier`).
"""

from __future__ import annotations

from datetime import date

import numpy as np
import polars as pl

from pipelines.units.kaplan_meier import kaplan_meier
from schemas import codes
from schemas.columns import polars_schema
from schemas.startups import JourneyRates

SHARE_DAYS = (30, 60, 90, 180)
HALF = 0.5 + 1e-9
NONE, ALL = "none", "all"
SLICES = codes.JOURNEY_SLICES
LEAST_UNITS, LEAST_REACHED = 10, 5
# Each step, the step that it is counted from, and whether only units with needs are counted.
STEPS = {
    "requested": ("purchased", False),
    "completed": ("requested", False),
    "sampled": ("completed", False),
    "reported": ("sampled", False),
    "bought": ("reported", True),
    "installed": ("bought", True),
}
_GROUP = ("by", "value", "step")


def journey_rates(journeys: pl.DataFrame, as_of: date) -> pl.DataFrame:
    """The table `journey_rates`, by slice and step.

    Args:
        journeys: of `journeys`.
        as_of: the as-of date, on which units that have not come so far are followed last.
    """
    # Words as numbers: of a million units, it is grouping by texts that takes the time.
    categorical = journeys.with_columns(
        *(pl.col(name).fill_null(NONE).cast(pl.Categorical) for name in SLICES[1:]),
        pl.lit(ALL).cast(pl.Categorical).alias(ALL),
    )
    slices = [_counts(categorical.lazy(), step, as_of, by) for step in STEPS for by in SLICES]
    counts = pl.concat(pl.collect_all(slices))
    groups = counts.sort(*_GROUP, "days").partition_by(*_GROUP, as_dict=True, maintain_order=True)
    rates = [_of_group(key, of_group) for key, of_group in groups.items()]
    order = {step: place for place, step in enumerate(STEPS)}
    by_order = {by: place for place, by in enumerate(SLICES)}
    return pl.DataFrame(rates, schema=polars_schema(JourneyRates)).sort(
        pl.col("by").replace_strict(by_order, return_dtype=pl.Int8),
        "value",
        pl.col("step").replace_strict(order, return_dtype=pl.Int8),
    )


def _counts(journeys: pl.LazyFrame, step: str, as_of: date, by: str) -> pl.LazyFrame:
    """Units of each slice by how long they took, or were followed: by, value, step, days, units,
    reached."""
    before, with_needs = STEPS[step]
    begun, done = pl.col(f"{before}_on"), pl.col(f"{step}_on")
    counted = begun.is_not_null() & (pl.col("needs_treatment").fill_null(False) | (not with_needs))
    # A unit that left is followed no further: nobody will do the step for it.
    followed = pl.min_horizontal("left_on", pl.lit(as_of))
    days = (pl.coalesce(done, followed) - begun).dt.total_days().clip(lower_bound=0)
    return (
        journeys.filter(counted)
        .select(value=by, days=days, reached=done.is_not_null())
        .group_by("value", "days")
        .agg(units=pl.len().cast(pl.Int64), reached=pl.col("reached").sum().cast(pl.Int64))
        .select(
            pl.lit(by).alias("by"),
            pl.col("value").cast(pl.String),
            pl.lit(step).alias("step"),
            "days",
            "units",
            "reached",
        )
    )


def _of_group(key: tuple[object, ...], counts: pl.DataFrame) -> dict[str, object]:
    """The row of one slice and step, from its units by days."""
    days, units = counts["days"].to_numpy(), counts["units"].to_numpy()
    reached = counts["reached"].to_numpy()
    # Days ascend: still waiting at a day are all that took so long or longer.
    at_risk = units[::-1].cumsum()[::-1].astype(float)
    curve = kaplan_meier(at_risk[None, :], reached[None, :].astype(float))
    value, low, high = curve.value[0], curve.low[0], curve.high[0]
    down = np.flatnonzero(value <= HALF)
    by, group, step = key
    row: dict[str, object] = {
        "by": by,
        "value": group,
        "step": step,
        "from_step": STEPS[str(step)][0],
        "units": int(units.sum()),
        "reached": int(reached.sum()),
        "median_days": int(days[down[0]]) if down.size else None,
        "thin": bool(units.sum() < LEAST_UNITS or reached.sum() < LEAST_REACHED),
    }
    for within in SHARE_DAYS:
        place = int(np.searchsorted(days, within, side="right")) - 1
        # Past the longest wait that was followed nothing is known, unless all had come by then.
        known = within <= days[-1] or value[-1] <= 0
        share = None if not known else 0.0 if place < 0 else 1 - float(value[place])
        limits: tuple[float | None, float | None] = (None, None)
        if share is not None and place >= 0 and np.isfinite(low[place]):
            limits = 1 - float(high[place]), 1 - float(low[place])
        row[f"share_{within}"] = share
        row[f"share_{within}_low"], row[f"share_{within}_high"] = limits
    return row
