"""Agencies beside their peers: repairs that came back, hours and travel, documents that lack.

Belongs here: the comparison of agencies, measure by measure. Does not belong here: which repairs
and claims count (`agency_cases`), exact laws and limits (`peers`, `funnel`), wording.

Every measure is standardised indirectly: what would be expected of an agency is the peers' mean of
each cause class and family, over its own mix of them. Peers are all other agencies together. A
flag is a reason to ask, and no more: waters, roads and kitchens differ between agencies too.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipelines.field.agency_cases import measured
from pipelines.field.agency_words import UNITS, sentences
from pipelines.field.context import FieldContext
from pipelines.field.funnel import q_values
from pipelines.field.laws import normal_exceeded, student_above, student_at
from pipelines.field.peers import (
    binomial_funnel,
    chance_of_more,
    clopper_pearson,
    conditional_moments,
    mean_limits,
    widened,
    winsorised_spread,
)
from pipelines.field.slices import ALL, FEWEST_FAILURES, FEWEST_UNITS
from schemas.columns import polars_schema
from schemas.field import AgencyFigures

FALSE_DISCOVERY_RATE = 0.10
FUNNEL = {
    "funnel_95_low": 0.025,
    "funnel_95_high": 0.975,
    "funnel_998_low": 0.001,
    "funnel_998_high": 0.999,
}
SHARES = ("returns", "documents")
ALONE = "no other agency has such cases: there is nothing to compare it with"
NONE_ELSEWHERE = "no ratio, because the other agencies had none at all"


def agency_figures(context: FieldContext) -> pl.DataFrame:
    """Every agency by every measure, and a row for all together, in the order of the measures.

    Shares have Clopper-Pearson limits, means Student's. The funnel takes the expected as known;
    the p-value, one-sided, allows for the peers' own chance too: exact and conditional for shares,
    by t for means with the peers' variance within each stratum (Satterthwaite's degrees of
    freedom). Both are widened by the overdispersion of the agencies (Spiegelhalter 2005); q is
    Benjamini & Hochberg over the agencies of a measure. Flagged where q is below 10 % and the
    figure is not thin: more than expected, never less.
    """
    parts = [_of_measure(name, cases) for name, cases in measured(context).items() if cases.height]
    schema = polars_schema(AgencyFigures)
    return sentences(pl.concat(parts)).select(schema.names()) if parts else schema.to_frame()


def _of_measure(measure: str, cases: pl.DataFrame) -> pl.DataFrame:
    """One measure: a row an agency and one for all together, without sentences."""
    amount = pl.col("amount")
    sums = {"n": pl.len().cast(pl.Int64), "sum": amount.sum(), "squares": (amount**2).sum()}
    # The last digit of a sum of fractions depends on their order.
    cases = cases.sort("agency", "stratum", "amount")
    own = cases.group_by("agency", "stratum", maintain_order=True).agg(**sums)
    everyone = cases.group_by("stratum", maintain_order=True).agg(
        **{f"all_{name}": expression for name, expression in sums.items()}
    )
    fewest = 1 if measure in SHARES else 2  # a spread among peers needs two of them
    strata = own.join(everyone, on="stratum").filter(pl.col("all_n") - pl.col("n") >= fewest)
    each = (
        own.group_by("agency", maintain_order=True)
        .agg(pl.col("n", "sum", "squares").sum())
        .sort("agency")
    )
    whole = each.select(pl.lit(ALL).alias("agency"), pl.col("n", "sum", "squares").sum())
    compared = (_shares if measure in SHARES else _means)(strata.sort("agency", "stratum"))
    q = compared.filter(pl.col("p_value").is_not_null())
    ranked = compared.join(
        q.select("agency", q_value=pl.Series(q_values(q["p_value"].to_numpy()))),
        on="agency",
        how="left",
    )
    rows = pl.concat([whole, each]).with_columns(
        **_values(measure, pl.concat([whole, each])), measure=pl.lit(measure)
    )
    note = (
        pl.when(pl.col("agency") == ALL)
        .then(None)
        .when(pl.col("compared").is_null())
        .then(pl.lit(ALONE))
        .when(pl.col("ratio").is_null())
        .then(pl.lit(NONE_ELSEWHERE))
    )
    events = pl.col("sum") if measure in SHARES else pl.col("n")
    fewest_cases = FEWEST_UNITS if measure in SHARES else FEWEST_FAILURES
    return (
        rows.join(ranked, on="agency", how="left", maintain_order="left")
        .with_columns(
            unit=pl.lit(UNITS[measure]),
            thin=(pl.col("n") < fewest_cases) | (events < FEWEST_FAILURES),
            note=note,
        )
        .with_columns(
            flagged=((pl.col("q_value") < FALSE_DISCOVERY_RATE) & ~pl.col("thin")).fill_null(False)
        )
        .rename({"n": "cases"})
        .drop("sum", "squares")
    )


def _values(measure: str, rows: pl.DataFrame) -> dict[str, pl.Series]:
    n, total, squares = (rows[name].to_numpy() for name in ("n", "sum", "squares"))
    if measure in SHARES:
        low, high = clopper_pearson(total, n)
    else:
        low, high = mean_limits(n, total, squares)
    figures = {"value": total / n, "low": low, "high": high}
    return {name: pl.Series(values, nan_to_null=True) for name, values in figures.items()}


def _shares(strata: pl.DataFrame) -> pl.DataFrame:
    """Agencies' shares beside their peers': one row an agency with comparable cases."""
    n, k, total, events = (strata[c].to_numpy() for c in ("n", "sum", "all_n", "all_sum"))
    mean, variance = conditional_moments(n, events, total)
    summed = (
        strata.with_columns(
            pl.Series("mean", mean),
            pl.Series("variance", variance),
            pl.Series("expected", n * (events - k) / (total - n)),
        )
        .group_by("agency", maintain_order=True)
        .agg(
            compared=pl.col("n").sum(),
            observed=pl.col("sum").sum(),
            **{c: pl.col(c).sum() for c in ("expected", "mean", "variance")},
            strata=pl.struct("n", "all_sum", "all_n"),
        )
    )
    chances = []
    for counts, observed in zip(summed["strata"], summed["observed"], strict=True):
        parts = (
            counts.struct.field(c).cast(pl.Int64).to_numpy() for c in ("n", "all_sum", "all_n")
        )
        chances.append(chance_of_more(int(observed), *parts))
    observed, cases, expected = (summed[c].to_numpy() for c in ("observed", "compared", "expected"))
    with np.errstate(divide="ignore", invalid="ignore"):
        z = (observed - summed["mean"].to_numpy()) / np.sqrt(summed["variance"].to_numpy())
    some = expected > 0
    spread = winsorised_spread(z[some])
    figures = {"p_value": widened(np.array(chances), spread)}
    for name, tail in FUNNEL.items():
        limit = binomial_funnel(cases, np.where(some, expected / cases, 0.5), tail, spread)
        figures[name] = np.where(some, limit, np.nan)
    return _with_limits(summed, figures, spread)


def _means(strata: pl.DataFrame) -> pl.DataFrame:
    """Agencies' hours or money beside their peers': one row an agency with comparable cases."""
    peers = pl.col("all_n") - pl.col("n")
    mean = (pl.col("all_sum") - pl.col("sum")) / peers
    within = (pl.col("all_squares") - pl.col("squares") - peers * mean**2) / (peers - 1)
    # Of the agency's own sum and of what the peers' mean makes of it; both spread as the peers do.
    of_both = within.clip(lower_bound=0) * pl.col("n") * (1 + pl.col("n") / peers)
    summed = (
        strata.with_columns(expected=pl.col("n") * mean, variance=of_both, peers=peers)
        .group_by("agency", maintain_order=True)
        .agg(
            compared=pl.col("n").sum(),
            observed=pl.col("sum").sum(),
            expected=pl.col("expected").sum(),
            variance=pl.col("variance").sum(),
            shares=(pl.col("variance") ** 2 / (pl.col("peers") - 1)).sum(),
        )
    )
    observed, expected, variance, shares = (
        summed[c].to_numpy() for c in ("observed", "expected", "variance", "shares")
    )
    usable = (expected > 0) & (variance > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        freedom = np.where(usable, variance**2 / shares, 1.0)
        error = np.where(usable, np.sqrt(variance), np.nan)
        p = student_above((observed - expected) / error, freedom)
    spread = winsorised_spread(normal_exceeded(p[usable]))
    figures = {"p_value": np.where(usable, widened(p, spread), np.nan)}
    for name, tail in FUNNEL.items():
        reach = student_at(tail, freedom) * error * np.sqrt(spread)
        with np.errstate(divide="ignore", invalid="ignore"):
            figures[name] = np.maximum(1 + reach / expected, 0)
    return _with_limits(summed, figures, spread)


def _with_limits(
    summed: pl.DataFrame, figures: dict[str, np.ndarray], spread: float
) -> pl.DataFrame:
    """The columns of a comparison; what is not finite becomes null."""
    ratio = pl.when(pl.col("expected") > 0).then(pl.col("observed") / pl.col("expected"))
    return summed.select(
        "agency",
        "compared",
        "observed",
        "expected",
        ratio=ratio,
        spread=pl.lit(spread),
        **{name: pl.Series(values, nan_to_null=True) for name, values in figures.items()},
    )
