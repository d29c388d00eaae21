"""Do a laboratory's results of the last weeks lie where its earlier ones did?

Belongs here: the comparison of one window of tests with the one before it. Does not belong here:
whether any one water is plausible (`pipelines.water`).

Each laboratory and analyte is compared by the rank-sum test with ties (Mann & Whitney 1947, On a
test of whether one of two random variables is stochastically larger than the other, Ann. Math.
Stat. 18:50-60; the variance with ties as in Hollander, Wolfe & Chicken 2014, Nonparametric
Statistical Methods, section 4.1), and the many comparisons of a night by the false discovery rate
(Benjamini & Hochberg 1995). A shift is told only where it is also large enough to matter.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl

from pipelines.field.funnel import q_values
from schemas.codes import ANALYTES

RECENT_DAYS = 28
BEFORE_DAYS = 182
LEAST_RECENT, LEAST_BEFORE = 8, 20
FALSE_DISCOVERY_RATE = 0.01
# A change of unit or of method moves the median by more than this; waters alone seldom do.
LEAST_RATIO = 1.25
LEAST_PH_STEP = 0.3

DRIFT = pl.Schema(
    {
        "lab": pl.String(),
        "analyte": pl.String(),
        "recent": pl.Int64(),
        "before": pl.Int64(),
        "recent_median": pl.Float64(),
        "before_median": pl.Float64(),
        "z": pl.Float64(),
        "q_value": pl.Float64(),
        "drifted": pl.Boolean(),
    }
)


def laboratory_drift(tests: pl.DataFrame, through: dt.date) -> pl.DataFrame:
    """One row a laboratory and analyte with enough supply tests in both windows.

    Args:
        tests: records of water tests: lab, point, sampled_on and the analytes.
        through: the last day of the recent window of 28 days; the one before has 182.

    Returns:
        DRIFT, by laboratory and analyte. Non-detects are left out.
    """
    ago = (pl.lit(through) - pl.col("sampled_on")).dt.total_days()
    values = (
        tests.filter(pl.col("lab").is_not_null() & (pl.col("point") == "supply"))
        .filter((ago >= 0) & (ago < RECENT_DAYS + BEFORE_DAYS))
        .select("lab", *ANALYTES, is_recent=ago < RECENT_DAYS)
        .unpivot(ANALYTES, index=["lab", "is_recent"], variable_name="analyte")
        .drop_nulls("value")
    )
    group = ["lab", "analyte"]
    ties = (
        values.group_by(*group, "value")
        .len("tied")
        .group_by(group)
        .agg(ties=(pl.col("tied").cast(pl.Float64).pow(3) - pl.col("tied")).sum())
    )
    ranked = (
        values.with_columns(rank=pl.col("value").rank("average").over(group))
        .group_by(group)
        .agg(
            recent=pl.col("is_recent").sum().cast(pl.Int64),
            before=(~pl.col("is_recent")).sum().cast(pl.Int64),
            rank_sum=pl.col("rank").filter("is_recent").sum(),
            recent_median=pl.col("value").filter("is_recent").median(),
            before_median=pl.col("value").filter(~pl.col("is_recent")).median(),
        )
        .filter((pl.col("recent") >= LEAST_RECENT) & (pl.col("before") >= LEAST_BEFORE))
        .join(ties, on=group)
        .sort(group)
    )
    rank_sum, recent, before, tied = (
        ranked[name].cast(pl.Float64).to_numpy()
        for name in ("rank_sum", "recent", "before", "ties")
    )
    if ranked.is_empty():
        return DRIFT.to_frame()
    z = rank_sum_z(rank_sum, recent, before, tied)
    return (
        ranked.with_columns(
            z=pl.Series(z, dtype=pl.Float64),
            q_value=pl.Series(q_values(two_sided(z)), dtype=pl.Float64),
        )
        .with_columns(drifted=(pl.col("q_value") < FALSE_DISCOVERY_RATE) & _matters())
        .select(DRIFT.names())
        .cast(DRIFT)
    )


def rank_sum_z(
    rank_sum: np.ndarray, recent: np.ndarray, before: np.ndarray, ties: np.ndarray
) -> np.ndarray:
    """The standardized rank-sum statistic with ties and continuity correction; 0 without spread.

    Args:
        rank_sum: sum of the recent values' mean ranks among all.
        recent, before: how many values each window has.
        ties: sum of t³ - t over groups of t equal values.
    """
    n = recent + before
    deviation = rank_sum - recent * (n + 1) / 2
    variance = recent * before / 12 * (n + 1 - ties / (n * (n - 1)))
    corrected = np.sign(deviation) * np.maximum(np.abs(deviation) - 0.5, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(variance > 0, corrected / np.sqrt(variance), 0.0)


def two_sided(z: np.ndarray) -> np.ndarray:
    """Two-sided p values of standard normal deviates."""
    from scipy.special import ndtr

    p_values: np.ndarray = 2 * ndtr(-np.abs(z))
    return p_values


def _matters() -> pl.Expr:
    """Whether the medians are far enough apart; pH is a logarithm and goes by steps."""
    now, then = pl.col("recent_median"), pl.col("before_median")
    by_ratio = (
        pl.max_horizontal(now, then) > LEAST_RATIO * pl.min_horizontal(now, then)
    ).fill_null(False)
    return (
        pl.when(pl.col("analyte") == "ph")
        .then((now - then).abs() > LEAST_PH_STEP)
        .otherwise(by_ratio)
    )
