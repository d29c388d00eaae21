"""Facts about the cause, the water and its treatment.

Belongs here: what conditions 12 to 20 call for. Does not belong here: papers and dates
(`candidates_of_dates`).
"""

from __future__ import annotations

from itertools import combinations

import polars as pl

from pipelines.counterfactuals.candidate_facts import candidate
from pipelines.counterfactuals.record_copies import stated_cause
from pipelines.coverage import Evidence
from pipelines.coverage.calendar_days import add_days
from schemas.columns import TEXTS

_MOST_SYSTEMS = 3


def cause(blocked: pl.DataFrame, evidence: Evidence) -> list[pl.DataFrame]:
    """A cause, a sound reading, a water test or what one lacks, a log of delimings."""
    by_water = stated_cause(evidence.causes).get_column("water_related").to_list()
    words = pl.lit("water-related" if by_water and by_water[0] else "not water-related")
    missing = pl.col("partial_sample")
    unmarked = missing.str.strip_prefix(pl.col("state"))
    return [
        candidate(blocked, "cause_established", "cause", bool(by_water), text=words),
        candidate(blocked, "installation_sound", "reading", text="reading"),
        candidate(blocked, "water_tested", "water_test", missing.is_null(), day="failed_on"),
        candidate(
            blocked,
            "water_tested",
            "missing_results",
            missing.is_not_null(),
            text=unmarked,
            items="partial_missing",
            day="partial_sampled_on",
        ),
        candidate(blocked, "delimed", "delimings", day="failed_on", months="delime_months"),
    ]


def treatment(blocked: pl.DataFrame, treatments: pl.DataFrame) -> list[pl.DataFrame]:
    """A system for what is not yet treated, its installation, its cartridges."""
    untreated = blocked.filter(
        pl.col("condition").is_in(["treatment_bought_new", "treatment_suits_water"])
        & pl.col("seller").is_not_null()
    ).with_columns(
        lacking=pl.when(pl.col("condition") == "treatment_bought_new")
        .then("needs")
        .otherwise(pl.col("needs").list.set_difference("good_abilities"))
        .list.sort()
    )
    served = untreated.get_column("lacking").unique()
    serving = pl.DataFrame(
        {"lacking": served, "systems": [systems_for(needs, treatments) for needs in served]},
        schema={"lacking": TEXTS, "systems": TEXTS},
    )
    untreated = untreated.join(serving, on="lacking").with_columns(
        lacking_words=pl.col("lacking").list.join(", ")
    )
    orders = [
        candidate(
            untreated,
            name,
            "order",
            pl.col("systems").is_not_null(),
            day=_last_day_to_fit(),
            items="systems",
            text="lacking_words",
        )
        for name in ("treatment_bought_new", "treatment_suits_water")
    ]
    return [
        *orders,
        candidate(
            blocked,
            "treatment_installed",
            "installed",
            day=_last_day_to_fit(),
            text="good_products",
        ),
        candidate(
            blocked,
            "treatment_maintained",
            "fitted_earlier",
            pl.col("outcome") == "disputed",
            day=_last_day_to_fit(),
            text="good_products",
        ),
        candidate(
            blocked,
            "treatment_maintained",
            "upkeep",
            pl.col("seller").is_not_null() & (pl.col("outcome") != "disputed"),
            day="failed_on",
            text="good_products",
        ),
    ]


def _last_day_to_fit() -> pl.Expr:
    """The failure date or, where the terms look at fresh systems, the last day on which one that is
    fitted is none."""
    settled = pl.max_horizontal(
        add_days(pl.col("failed_on"), -pl.col("fresh_days")), pl.col("grace_until")
    )
    fresh_counts = pl.col("fresh_days").is_not_null()
    return pl.when(fresh_counts).then(settled).otherwise("failed_on")


def systems_for(needs: list[str], treatments: pl.DataFrame) -> list[str] | None:
    """The fewest systems that do all that is needed, the least able ones first; None without."""
    systems = (
        treatments.filter(pl.col("kind") == "system")
        .sort(pl.col("removes").list.len(), "product")
        .select("product", "removes")
    )
    pairs = zip(systems["product"].to_list(), systems["removes"].to_list(), strict=True)
    able = [(product, set(removes) & set(needs)) for product, removes in pairs]
    able = [(product, removes) for product, removes in able if removes]
    for count in range(1, _MOST_SYSTEMS + 1):
        for chosen in combinations(able, count):
            if set().union(*(removes for _, removes in chosen)) >= set(needs):
                return [product for product, _ in chosen]
    return None
