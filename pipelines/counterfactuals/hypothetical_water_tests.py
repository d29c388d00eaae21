"""Water tests as they would be: a complete one within the limits, or one with what it lacks.

Belongs here: values that are within any edition's limits, and where they go. Does not belong here:
which claims call for a test (`candidates_of_water`).
"""

from __future__ import annotations

import polars as pl

from pipelines.counterfactuals.overlays import added, any_of, facts_of
from pipelines.terms import Terms
from schemas import codes


def _within(terms: Terms) -> pl.DataFrame:
    """A value within the limits for every analyte: one row an edition and family."""
    pairs = terms.values.select("edition", "family")
    low = terms.water_limits.with_columns(value=pl.coalesce("min", pl.lit(0.0)))
    # pH 7 serves where only its maximum is limited, unless that is lower still.
    neutral = pl.min_horizontal(pl.lit(7.0), "max")
    low = low.with_columns(
        value=pl.when((pl.col("analyte") == "ph") & pl.col("min").is_null())
        .then(neutral)
        .otherwise("value")
    )
    wide = low.pivot("analyte", index=["edition", "family"], values="value")
    values = pairs.join(wide, on=["edition", "family"], how="left")
    names = [*codes.ANALYTES, "chloramine_mg_l"]
    blank = [pl.lit(None, pl.Float64).alias(n) for n in names if n not in values.columns]
    filled = values.with_columns(blank).with_columns(
        pl.col(name).fill_null(7.0 if name == "ph" else 0.0) for name in names
    )
    # Total chlorine is free chlorine and chloramine together.
    free = pl.col("free_chlorine_mg_l")
    total = pl.max_horizontal("total_chlorine_mg_l", free + pl.col("chloramine_mg_l"))
    return filled.with_columns(total_chlorine_mg_l=total.round(9)).drop("chloramine_mg_l")


def water_tests(tests: pl.DataFrame, facts: pl.DataFrame, terms: Terms) -> pl.DataFrame:
    """A complete test within the limits, or the results that a test lacks.

    A new test is as old as the warranty, so that time to fit a treatment is not what helps.
    """
    if not any_of(facts, "water_test", "missing_results"):
        return tests
    within = _within(terms)
    new = facts_of(facts, "water_test").join(within, on=["edition", "family"])
    new = new.select(
        "serial",
        *codes.ANALYTES,
        sample=pl.concat_str("state", pl.lit("~test")),
        point=pl.lit("supply"),
        sampled_on="since",
        reported_on="since",
    )
    filled = (
        facts_of(facts, "missing_results")
        .select("state", "edition", "family", "items", sample=pl.concat_str("state", "text"))
        .join(within, on=["edition", "family"])
        .rename({name: f"_{name}" for name in codes.ANALYTES})
        .drop("state", "edition", "family")
    )
    lacks = pl.col("items")
    chlorine = lacks.list.contains("chloramine_mg_l")
    joined = tests.join(filled, on="sample", how="left", maintain_order="left")
    values, bounds = [], []
    for name in codes.ANALYTES:
        wanted = lacks.list.contains(name)
        value = pl.col(f"_{name}")
        if name == "free_chlorine_mg_l":
            # Free chlorine that makes up the whole total leaves no chloramine.
            value = pl.coalesce("total_chlorine_mg_l", value)
            wanted = wanted | (chlorine & pl.col(name).is_null())
        elif name == "total_chlorine_mg_l":
            value = pl.max_horizontal("free_chlorine_mg_l", value)
            wanted = wanted | (chlorine & pl.col(name).is_null())
        wanted = wanted.fill_null(False)
        values.append(pl.when(wanted).then(value).otherwise(name).alias(name))
        below = f"{name}_below"
        bounds.append(pl.when(wanted).then(None).otherwise(below).alias(below))
    return added(joined.with_columns(values + bounds).select(tests.columns), new)
