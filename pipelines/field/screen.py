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
from pipelines.field.dimensions import numbered_failures
from pipelines.field.funnel import q_values
from pipelines.field.placed_days import Placed
from pipelines.field.poisson import DAYS_PER_YEAR, Z_95
from pipelines.field.score_variance import variances
from pipelines.field.slices import ALL, LABELS, thin
from pipelines.field.unit_days import placed_by
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
_NO_OTHERS = "cannot be estimated, because no other day is of the same family, water and age"
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
        # Where the failures' strata have no other day, all of them are to be expected here.
        note=pl.when(pl.col("ratio").is_null()).then(
            pl.when(
                (pl.col("failures") - pl.col("expected")).abs() < _ROUNDING * pl.col("failures")
            )
            .then(pl.lit(_NO_OTHERS))
            .otherwise(pl.lit(_NO_RATIO))
        ),
    )
    order = ["low", "dimension", "value", "cause_class", "cause"]
    ranked = labelled.sort(order, descending=[True, False, False, False, False], nulls_last=True)
    return ranked.select(*LABELS, *COLUMNS, "thin", "note")


def _rows(context: FieldContext) -> Iterator[pl.DataFrame]:
    strata = placed_by(context, STRATA).groups.sort(STRATA).with_row_index("stratum")
    dims_of_all = sorted({name for dims in SCREENED for name in dims})
    failed = numbered_failures(context.failures, (*dims_of_all, *STRATA, "cause_class", "cause"))
    failed = failed.join(strata, on=STRATA)
    kinds = pl.concat([failed.with_columns(cause=pl.lit(ALL)), failed])
    of_kind = kinds.select("cause_class", "cause").unique().sort("cause_class", "cause")
    of_kind = of_kind.with_row_index("kind")
    kinds = kinds.join(of_kind, on=["cause_class", "cause"])
    for dims in SCREENED:
        days, own = placed_by(context, (*dims, *STRATA)), kinds
        groups = days.groups.with_columns(
            days=pl.Series(np.bincount(days.group, days.days, minlength=days.groups.height)),
        ).join(strata, on=STRATA)
        if dims == ("product",):
            groups, own = (x.filter(pl.col("product") != NO_PRODUCT) for x in (groups, own))
        word = pl.concat_str(dims, separator=",").alias("word")
        words = groups.select(word).unique().sort("word").with_row_index("value")
        own = own.select("unit", "stratum", "kind", word).join(words, on="word").drop("word")
        time = groups.with_columns(word).join(words, on="word")
        yield (
            _of_dimension(time, own)
            .join(words, on="value")
            .join(_watched(days, word), on="word")
            .join(of_kind, on="kind")
            .with_columns(dimension=pl.lit(",".join(dims)), value="word")
            .select(_ROWS.names())
        )


def _watched(days: Placed, word: pl.Expr) -> pl.DataFrame:
    """How many units are watched at each value."""
    of_group = days.groups.select(word)
    words = of_group.unique().sort("word")
    numbered = of_group.join(words.with_row_index("n"), on="word", maintain_order="left")
    at = days.unit * words.height + numbered["n"].cast(pl.Int64).to_numpy()[days.group]
    at = np.sort(at, kind="stable")  # by unit they stand nearly in order
    once = at[np.flatnonzero(np.diff(at, prepend=-1))]
    counts = np.bincount(once % max(words.height, 1), minlength=words.height)
    return words.with_columns(watched=pl.Series(counts, dtype=pl.Int64))


def _of_dimension(days: pl.DataFrame, kinds: pl.DataFrame) -> pl.DataFrame:
    """Every value that is screened, for each class and each cause.

    Args:
        days: value, stratum, days.
        kinds: unit, value, stratum and kind (a class, or a cause) of failures, once for each.
    """
    time = (
        days.group_by("stratum", "value")
        .agg(t=pl.col("days").sum() / DAYS_PER_YEAR)
        .sort("stratum", "value")  # sums of floats in one order: the same last digit each time
        .with_columns(all=pl.col("t").sum().over("stratum"))
        .with_columns(share=pl.col("t") / pl.col("all"))
    )
    counted = kinds.group_by("value", "kind").agg(
        failures=pl.len().cast(pl.Int64), units=pl.col("unit").n_unique().cast(pl.Int64)
    )
    screened = counted.filter(
        (pl.col("failures") >= FEWEST_FAILURES) & (pl.col("units") >= FEWEST_UNITS)
    ).sort("value", "kind")
    rows = screened.join(
        _ratios(kinds, time, screened), on=["value", "kind"], maintain_order="left"
    )
    rows = rows.hstack(variances(kinds, time, rows))
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


def _p_values(rows: pl.DataFrame) -> pl.Series:
    """Two-sided, of the score test clustered by unit; 1 where no part is other than 0."""
    from scipy.special import chdtrc

    score = (rows["failures"] - rows["expected"]).to_numpy()
    variance = rows["variance"].to_numpy()
    some = variance > _ROUNDING * rows["aa"].to_numpy()
    z2 = np.divide(score * score, variance, out=np.zeros(len(score)), where=some)
    return pl.Series(chdtrc(1, z2), dtype=pl.Float64)
