"""Figure 12: what stands out that nobody asked for.

Belongs here: every value of several dimensions against all other days, for each class and cause of
failures. Does not belong here: figures that somebody asks for.

A value's ratio is Mantel and Haenszel's over family, needs and age band. Its p-value is that of the
score test: U is the sum over failures of (1 where the failure has the value, else 0) less the share
that the value has of the stratum's time; a unit's failures make one part of it, so that units that
fail again and again do not count as many.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.dimensions import failure_values
from pipelines.field.funnel import q_values
from pipelines.field.poisson import DAYS_PER_YEAR, Z_95
from pipelines.field.slice_rates import days_by
from pipelines.field.slices import ALL, LABELS, thin
from pipelines.units.watch_spans import NO_PRODUCT

COLUMNS = (
    "dimension",
    "value",
    "cause",
    "failures",
    "units",
    "expected",
    "ratio",
    "low",
    "high",
    "p_value",
    "q_value",
    "flagged",
)
SCREENED = (
    ("model",),
    ("region",),
    ("lot",),
    ("entry",),
    ("shipped",),
    ("season", "cold_supply"),
    ("product",),
    ("installation",),
)
STRATA = ("family", "needs", "age")
FEWEST_FAILURES, FEWEST_UNITS = 10, 5
FALSE_DISCOVERY_RATE = 0.05
_ROUNDING = 1e-12  # of a sum of squares, which is 0 but for that
_NO_RATIO = "cannot be estimated, because no such failure happened on the other days"
# `watched`: units at risk on days of the value, by which a row is thin.
_ROWS = pl.Schema(
    {
        "dimension": pl.String,
        "value": pl.String,
        "cause_class": pl.String,
        "cause": pl.String,
        "failures": pl.Int64,
        "units": pl.Int64,
        "watched": pl.Int64,
        "expected": pl.Float64,
        "ratio": pl.Float64,
        "low": pl.Float64,
        "high": pl.Float64,
        "p_value": pl.Float64,
    }
)


def screen(context: FieldContext) -> pl.DataFrame:
    """Every value with 10 failures or more in 5 units, ranked by the lower limit of its ratio."""
    rows = pl.concat([_ROWS.to_frame(), *_rows(context)])
    q = q_values(rows["p_value"].to_numpy()) if rows.height else np.zeros(0)
    labelled = rows.with_columns(q_value=pl.Series(q, dtype=pl.Float64)).with_columns(
        flagged=((pl.col("q_value") <= FALSE_DISCOVERY_RATE) & (pl.col("low") > 1)).fill_null(
            False
        ),
        by=pl.lit(ALL),
        **{name: pl.lit(ALL) for name in LABELS[1:] if name != "cause_class"},
        thin=thin(units="watched"),
        note=pl.when(pl.col("ratio").is_null()).then(pl.lit(_NO_RATIO)),
    )
    order = ["low", "dimension", "value", "cause_class", "cause"]
    ranked = labelled.sort(order, descending=[True, False, False, False, False], nulls_last=True)
    return ranked.select(*LABELS, *COLUMNS, "thin", "note")


def _rows(context: FieldContext) -> Iterator[pl.DataFrame]:
    for dims in SCREENED:
        days = days_by(context, (*dims, *STRATA))
        failed = failure_values(context.failures, (*dims, *STRATA, "cause_class", "cause"))
        if dims == ("product",):
            days = days.filter(pl.col("product") != NO_PRODUCT)
            failed = failed.filter(pl.col("product") != NO_PRODUCT)
        value = pl.concat_str(dims, separator=",")
        yield (
            _of_dimension(days.with_columns(value=value), failed.with_columns(value=value))
            .with_columns(dimension=pl.lit(",".join(dims)))
            .select(_ROWS.names())
        )


def _of_dimension(days: pl.DataFrame, failed: pl.DataFrame) -> pl.DataFrame:
    """Every value that is screened, for each class and each cause.

    Args:
        days: unit, value, STRATA, days.
        failed: the same of failures, with cause_class and cause.
    """
    strata = days.select(STRATA).unique().sort(STRATA).with_row_index("stratum")
    time = (
        days.group_by(*STRATA, "value")
        .agg(t=pl.col("days").sum() / DAYS_PER_YEAR)
        .join(strata, on=STRATA)
        .select("stratum", "value", "t")
        .sort("stratum", "value")  # sums of floats in one order: the same last digit each time
        .with_columns(all=pl.col("t").sum().over("stratum"))
        .with_columns(share=pl.col("t") / pl.col("all"))
    )
    own = failed.join(strata, on=STRATA).select("unit", "value", "stratum", "cause_class", "cause")
    kinds = pl.concat([own.with_columns(cause=pl.lit(ALL)), own])
    numbered = kinds.select("cause_class", "cause").unique().sort("cause_class", "cause")
    numbered = numbered.with_row_index("kind")
    kinds = kinds.join(numbered, on=["cause_class", "cause"]).drop("cause_class", "cause")
    counted = kinds.group_by("value", "kind").agg(
        failures=pl.len().cast(pl.Int64), units=pl.col("unit").n_unique().cast(pl.Int64)
    )
    screened = counted.filter(
        (pl.col("failures") >= FEWEST_FAILURES) & (pl.col("units") >= FEWEST_UNITS)
    )
    ratios = _ratios(kinds, time, screened)
    variances = _variances(kinds, time, screened)
    at_risk = days.group_by("value").agg(watched=pl.col("unit").n_unique().cast(pl.Int64))
    rows = (
        screened.join(at_risk, on="value")
        .join(ratios, on=["value", "kind"])
        .join(variances, on=["value", "kind"])
        .join(numbered, on="kind")
    )
    return rows.with_columns(p_value=_p_values(rows))


def _ratios(kinds: pl.DataFrame, time: pl.DataFrame, screened: pl.DataFrame) -> pl.DataFrame:
    """Expected failures and Mantel-Haenszel ratios with Greenland and Robins' limits."""
    whole = kinds.group_by("stratum", "kind").agg(n=pl.len())
    own = kinds.group_by("stratum", "value", "kind").agg(a=pl.len())
    cells = (
        screened.select("value", "kind")
        .join(time, on="value")
        .join(whole, on=["stratum", "kind"])
        .join(own, on=["stratum", "value", "kind"], how="left")
        .with_columns(pl.col("a").fill_null(0))
        .sort("value", "kind", "stratum")
    )
    a, n, t, total = (pl.col(name) for name in ("a", "n", "t", "all"))
    sums = cells.group_by("value", "kind", maintain_order=True).agg(
        expected=(n * pl.col("share")).sum(),
        above=(a * (total - t) / total).sum(),
        below=((n - a) * t / total).sum(),
        spread=(n * t * (total - t) / total**2).sum(),
    )
    error = (pl.col("spread") / (pl.col("above") * pl.col("below"))).sqrt()
    ratio = pl.col("above") / pl.col("below")
    usable = (pl.col("above") > 0) & (pl.col("below") > 0)
    return sums.with_columns(ratio=pl.when(usable).then(ratio)).select(
        "value",
        "kind",
        "expected",
        "ratio",
        low=pl.col("ratio") * (-Z_95 * error).exp(),
        high=pl.col("ratio") * (Z_95 * error).exp(),
    )


def _variances(kinds: pl.DataFrame, time: pl.DataFrame, screened: pl.DataFrame) -> pl.DataFrame:
    """The sum of squares of the units' parts in the score, for each value and kind.

    A unit's part is a - e, its failures with the value less the sum of n x share over strata, where
    n are all its failures there. The squares are summed as a^2 - 2ae + e^2: no row is made for a
    unit that failed and a value that it has not, of which there are very many.
    """
    shares = time.select("stratum", "value", "share")
    of_unit = kinds.group_by("kind", "unit", "stratum").agg(n=pl.len().cast(pl.Float64))
    own = kinds.group_by("kind", "unit", "value").agg(a=pl.len().cast(pl.Float64))
    keys = ["value", "kind"]
    squares = own.group_by(keys).agg(aa=(pl.col("a") * pl.col("a")).sum())
    mixed = (
        own.join(of_unit, on=["kind", "unit"])
        .join(shares, on=["stratum", "value"])
        .sort(*keys, "unit", "stratum")
        .group_by(keys)
        .agg(ae=(pl.col("a") * pl.col("n") * pl.col("share")).sum())
    )
    pairs = (
        of_unit.join(of_unit, on=["kind", "unit"], suffix="_2")
        .group_by("kind", "stratum", "stratum_2")
        .agg(nn=(pl.col("n") * pl.col("n_2")).sum())
    )
    expected = (
        screened.select(keys)
        .join(shares, on="value")
        .join(pairs, on=["kind", "stratum"])
        .join(shares, left_on=["stratum_2", "value"], right_on=["stratum", "value"], suffix="_2")
        .sort(*keys, "stratum", "stratum_2")
        .group_by(keys)
        .agg(ee=(pl.col("nn") * pl.col("share") * pl.col("share_2")).sum())
    )
    return (
        screened.select(keys)
        .join(squares, on=keys)
        .join(mixed, on=keys)
        .join(expected, on=keys)
        .select(*keys, "aa", variance=pl.col("aa") - 2 * pl.col("ae") + pl.col("ee"))
    )


def _p_values(rows: pl.DataFrame) -> pl.Series:
    """Two-sided, of the score test clustered by unit; 1 where no part is other than 0."""
    from scipy.special import chdtrc

    score = (rows["failures"] - rows["expected"]).to_numpy()
    variance = rows["variance"].to_numpy()
    some = variance > _ROUNDING * rows["aa"].to_numpy()
    z2 = np.divide(score * score, variance, out=np.zeros(len(score)), where=some)
    return pl.Series(chdtrc(1, z2), dtype=pl.Float64)
