"""The share of units that have not failed by an age.

Belongs here: the Kaplan-Meier estimator on counted risk sets. Does not belong here: who is at
risk (`risk_sets`).
"""

from __future__ import annotations

import polars as pl

from pipelines.field.poisson import Z_95


def kaplan_meier(table: pl.DataFrame, keys: list[str]) -> pl.DataFrame:
    """Kaplan-Meier with Greenwood's variance and log-log 95 % limits.

    Args:
        table: `keys`, `age`, `at_risk`, `events`, sorted by keys and age (`risk_sets.risk_table`).
        keys: the columns that tell one group from another.

    Returns:
        `keys`, `age`, `failures` (by then), `survival`, `low`, `high`. The limits are those on
        log(-log S) (Kalbfleisch & Prentice); null where S is 0 or 1, where they do not exist.
    """
    n, d = pl.col("at_risk"), pl.col("events")
    greenwood = pl.when(n > d).then(d / (n * (n - d))).otherwise(0.0)
    curve = table.select(
        *keys,
        "age",
        failures=d.cum_sum().over(keys),
        survival=(1 - d / n).cum_prod().over(keys),
        variance=greenwood.cum_sum().over(keys),
    )
    log_survival = pl.col("survival").log()
    error = Z_95 * pl.col("variance").sqrt() / log_survival.abs()
    inside = (pl.col("survival") > 0) & (pl.col("survival") < 1)
    return curve.with_columns(
        low=pl.when(inside).then((log_survival * error.exp()).exp()),
        high=pl.when(inside).then((log_survival * (-error).exp()).exp()),
    ).drop("variance")
