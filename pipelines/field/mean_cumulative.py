"""The mean number, or cost, of events a unit by an age.

Belongs here: the mean cumulative function with limits that hold when the same units come back.
Does not belong here: who is at risk (`risk_sets`).
"""

from __future__ import annotations

import polars as pl

from pipelines.field.poisson import Z_95


def mean_cumulative(
    episodes: pl.DataFrame, events: pl.DataFrame, keys: list[str], weight: str | None = None
) -> pl.DataFrame:
    """Nelson's mean cumulative function with Lawless and Nadeau's (1995) robust variance.

    Args:
        episodes: `keys`, `episode` (an id), `entry`, `exit` (ages, both included).
        events: `keys`, `episode`, `age`, and the weight; one row an event.
        keys: the columns that tell one group from another.
        weight: the column to sum (a cost); None counts events.

    Returns:
        `keys`, `age`, `mean`, `error` (standard), `low`, `high` at every age with an event. The
        limits are on the log scale; null where the mean or its error is 0.

    The variance is the sum over episodes of (E - G)², where E sums weight/at-risk over its own
    events and G the increments of the mean over at-risk while it was watched. Both change only
    at ends and events, so running sums do for a million units.
    """
    amount = pl.lit(1.0) if weight is None else pl.col(weight).cast(pl.Float64)
    valued = events.select(*keys, "episode", "age", amount=amount)
    ages = _ages(episodes, valued, keys)
    scores = _scores(episodes, valued, ages, keys)
    curve = ages.join(scores, on=[*keys, "age"], how="left", nulls_equal=True).sort([*keys, "age"])
    names = ["squares", "early", "left", "ended"]
    curve = curve.with_columns(pl.col(names).fill_null(0.0).cum_sum().over(keys))
    g = pl.col("g")
    ended = (pl.col("exits") * g**2).cum_sum().over(keys)
    watched = (pl.col("entries") - pl.col("exits")).cum_sum().over(keys) * g**2
    cross = pl.col("ended") + g * (pl.col("early") - pl.col("left"))
    curve = curve.with_columns(
        error=(pl.col("squares") - 2 * cross + ended + watched).clip(lower_bound=0).sqrt()
    ).filter(pl.col("events") > 0)
    mean, error = pl.col("mean"), pl.col("error")
    width = (Z_95 * error / mean).exp()
    usable = (mean > 0) & (error > 0)
    return curve.select(
        *keys,
        "age",
        "mean",
        "error",
        low=pl.when(usable).then(mean / width),
        high=pl.when(usable).then(mean * width),
    )


def _ages(episodes: pl.DataFrame, events: pl.DataFrame, keys: list[str]) -> pl.DataFrame:
    one = pl.lit(1, pl.Int64)
    steps = pl.concat(
        [
            episodes.select(*keys, age="entry", entries=one),
            episodes.select(*keys, age="exit", exits=one),
            events.select(*keys, "age", "amount", events=one),
        ],
        how="diagonal_relaxed",
    )
    names = ["entries", "exits", "events", "amount"]
    ages = steps.group_by([*keys, "age"]).agg(pl.col(names).sum()).sort([*keys, "age"])
    gone_before = pl.col("exits").cum_sum().over(keys) - pl.col("exits")
    return (
        ages.with_columns(at_risk=pl.col("entries").cum_sum().over(keys) - gone_before)
        .with_columns(step=pl.col("amount") / pl.col("at_risk"))
        .with_columns(step=pl.when(pl.col("events") > 0).then(pl.col("step")).otherwise(0.0))
        .with_columns(
            mean=pl.col("step").cum_sum().over(keys),
            jump=pl.when(pl.col("events") > 0)
            .then(pl.col("step") / pl.col("at_risk"))
            .otherwise(0.0),
        )
        .with_columns(g=pl.col("jump").cum_sum().over(keys))
    )


def _scores(
    episodes: pl.DataFrame, events: pl.DataFrame, ages: pl.DataFrame, keys: list[str]
) -> pl.DataFrame:
    """Per age: the growth of the sums of E², of E by age, and of E and E·G(exit) by exit."""
    at = [*keys, "age"]
    own = events.join(ages.select(*at, "at_risk"), on=at, nulls_equal=True).select(
        *at, "episode", share=pl.col("amount") / pl.col("at_risk")
    )
    # Who enters late has missed G up to then: the same as an event of that size on entry.
    late = (
        episodes.filter(pl.col("entry") > 0)
        .select(*keys, "episode", age="entry")
        .join(ages.select(*at, share=pl.col("g") - pl.col("jump")), on=at, nulls_equal=True)
    )
    both = pl.concat([own, late.select(own.columns)]).join(
        episodes.select(*keys, "episode", "exit"), on=[*keys, "episode"], nulls_equal=True
    )
    exit_g = ages.select(*keys, exit="age", exit_g="g")
    both = both.join(exit_g, on=[*keys, "exit"], how="left", nulls_equal=True).sort(
        [*keys, "episode", "age"]
    )
    total = pl.col("share").cum_sum().over([*keys, "episode"])
    both = both.with_columns(square=total**2 - (total - pl.col("share")) ** 2)
    by_age = both.group_by(at).agg(squares=pl.col("square").sum(), early=pl.col("share").sum())
    by_exit = both.group_by([*keys, "exit"]).agg(
        left=pl.col("share").sum(), ended=(pl.col("share") * pl.col("exit_g")).sum()
    )
    return by_age.join(
        by_exit.rename({"exit": "age"}), on=at, how="full", coalesce=True, nulls_equal=True
    )
