"""First failures by cause, as competing risks.

Belongs here: the Aalen-Johansen estimator. Does not belong here: one minus Kaplan-Meier, which
overstates an incidence because it takes the other causes for the end of the watch.
"""

from __future__ import annotations

import polars as pl

from pipelines.field.poisson import Z_95


def aalen_johansen(
    table: pl.DataFrame, causes: pl.DataFrame, keys: list[str], cause: str
) -> pl.DataFrame:
    """Cumulative incidence of each cause with Aalen's variance and log-log 95 % limits.

    Args:
        table: `keys`, `age`, `at_risk`, `events` (of any cause), sorted by keys and age.
        causes: `keys`, the cause's column, `age`, `count`: events of one cause at an age.
        keys: the columns that tell one group from another.
        cause: the name of the cause's column.

    Returns:
        `keys`, the cause, `age`, `incidence`, `error` (standard), `low`, `high` at every age with
        an event of any cause; limits are null where the incidence is 0 or 1. Within a group the
        incidences and the overall survival add up to 1.

    The variance is the one of Aalen (1978) as in R's cmprsk, its sum over earlier ages of
    (F(t) - F(s))² written out as F(t)² A - 2 F(t) B + C so that running sums do.
    """
    n, d = pl.col("at_risk"), pl.col("events")
    alone = [*keys, cause]
    surviving = table.with_columns(after=(1 - d / n).cum_prod().over(keys)).with_columns(
        before=pl.col("after").shift(1, fill_value=1.0).over(keys)
    )
    seen = causes.select(alone).unique()
    grid = (
        surviving.join(seen, on=keys, how="inner", nulls_equal=True)
        .join(causes, on=[*alone, "age"], how="left", nulls_equal=True)
        .with_columns(pl.col("count").fill_null(0))
        .sort([*alone, "age"])
    )
    c, before = pl.col("count"), pl.col("before")
    incidence = pl.col("incidence")
    # After the last unit has failed nothing moves, so the terms that would divide by 0 are 0.
    open_ended = (n > d) & (n > 1)
    all_causes = pl.when(open_ended).then(d / ((n - 1) * (n - d))).otherwise(0.0)
    own = pl.when(n > 1).then(before**2 * c * (n - c) / (n**2 * (n - 1))).otherwise(0.0)
    mixed = pl.when(open_ended).then(before * c * (n - c) / (n * (n - d) * (n - 1))).otherwise(0.0)

    def running(term: pl.Expr) -> pl.Expr:
        return term.cum_sum().over(alone)

    grid = grid.with_columns(incidence=running(before * c / n)).with_columns(
        variance=(
            incidence**2 * running(all_causes)
            - 2 * incidence * running(incidence * all_causes)
            + running(incidence**2 * all_causes)
            + running(own)
            - 2 * incidence * running(mixed)
            + 2 * running(incidence * mixed)
        ).clip(lower_bound=0)
    )
    inside = (incidence > 0) & (incidence < 1)
    error = pl.col("variance").sqrt()
    # log(-log(F)) scale, as R and SAS print it.
    width = Z_95 * error / (incidence * incidence.log().abs())
    return grid.select(
        *alone,
        "age",
        "incidence",
        error=error,
        low=pl.when(inside).then((incidence.log() * width.exp()).exp()),
        high=pl.when(inside).then((incidence.log() * (-width).exp()).exp()),
    )
