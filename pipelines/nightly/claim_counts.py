"""Are the claims of the last week as many as the weeks before lead to expect?

Belongs here: the limits for one week's count. Does not belong here: which claims there are.

The limits are those of Farrington, Andrews, Beale & Catchpole (1996), A statistical algorithm for
the early detection of outbreaks of infectious disease, J. R. Stat. Soc. A 159:547-563, without
trend and season: the weeks before give a mean and a quasi-Poisson dispersion, the limits are set on
the two-thirds power, where counts are close to normal, and carry the uncertainty of the mean.
"""

from __future__ import annotations

import datetime as dt
import math

import polars as pl

WEEKS_BEFORE = 26
LEAST_WEEKS = 8
LEAST_CLAIMS = 20  # in all the weeks before: fewer tell nothing of a week
NORMAL_QUANTILE = 3.0902  # one week in a thousand on either side


def weekly_counts(filed: pl.Series, through: dt.date) -> pl.DataFrame:
    """Claims by week before a day: `week` (0 is the one that ends on `through`), `claims`.

    The weeks go back to the first claim, to WEEKS_BEFORE at the most; weeks without one count 0.
    """
    days = filed.drop_nulls()
    ago = (pl.lit(through) - pl.col("filed")).dt.total_days()
    weeks = pl.DataFrame({"filed": days}, schema={"filed": pl.Date}).select(week=ago // 7)
    weeks = weeks.filter(pl.col("week") >= 0)
    if weeks.is_empty():
        return pl.DataFrame(schema={"week": pl.Int64, "claims": pl.Int64})
    # The week of the first claim is not whole.
    every = pl.DataFrame(
        {"week": range(min(max(weeks["week"]), WEEKS_BEFORE + 1))}, schema={"week": pl.Int64}
    )
    counted = weeks.group_by("week").agg(pl.len().cast(pl.Int64).alias("claims"))
    return every.join(counted, on="week", how="left").fill_null(0).sort("week")


def limits(before: pl.Series) -> tuple[float, float] | None:
    """The lower and upper limit for the next week's count; None where too little is known."""
    weeks = before.len()
    if weeks < LEAST_WEEKS or before.sum() < LEAST_CLAIMS:
        return None
    counts = before.to_numpy()
    mean = float(counts.mean())
    dispersion = max(1.0, float(counts.var(ddof=1)) / mean)
    spread = math.sqrt(dispersion * (1 + 1 / weeks) / mean)
    low, high = (1 + sign * 2 / 3 * NORMAL_QUANTILE * spread for sign in (-1, 1))
    return mean * max(low, 0.0) ** 1.5, mean * high**1.5
