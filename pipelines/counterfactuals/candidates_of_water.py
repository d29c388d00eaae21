"""Facts about the cause, the water and its treatment.

Belongs here: what conditions 12 to 20 call for. Does not belong here: papers and dates
(`candidates_of_dates`).
"""

from __future__ import annotations

from functools import partial
from itertools import combinations

import polars as pl

from pipelines.counterfactuals.candidate_facts import CalledFor, candidate
from pipelines.counterfactuals.record_copies import stated_cause
from pipelines.coverage import Evidence
from pipelines.coverage.calendar_days import add_days
from schemas.columns import TEXTS

_MOST_SYSTEMS = 3


def _cause(blocked: pl.DataFrame, evidence: Evidence) -> list[pl.DataFrame]:
    """A cause that is not excluded, where the file has one."""
    by_water = stated_cause(evidence.causes).get_column("water_related").to_list()
    words = pl.lit("water-related" if by_water and by_water[0] else "not water-related")
    return [candidate(blocked, "cause", bool(by_water), text=words)]


def _reading(blocked: pl.DataFrame, _: Evidence) -> list[pl.DataFrame]:
    return [candidate(blocked, "reading", text="reading")]


def _water_test(blocked: pl.DataFrame, _: Evidence) -> list[pl.DataFrame]:
    """A water test, or what one lacks."""
    missing = pl.col("partial_sample")
    return [
        candidate(blocked, "water_test", missing.is_null(), day="failed_on"),
        candidate(
            blocked,
            "missing_results",
            missing.is_not_null(),
            text=missing.str.strip_prefix(pl.col("state")),
            items="partial_missing",
            day="partial_sampled_on",
        ),
    ]


def _delimings(blocked: pl.DataFrame, _: Evidence) -> list[pl.DataFrame]:
    return [candidate(blocked, "delimings", day="failed_on", months="delime_months")]


def _order(lacking: pl.Expr, blocked: pl.DataFrame, evidence: Evidence) -> list[pl.DataFrame]:
    """Systems for what is not yet treated, which `lacking` tells."""
    untreated = blocked.filter(pl.col("seller").is_not_null()).with_columns(
        lacking=lacking.list.sort()
    )
    served = untreated.get_column("lacking").unique()
    serving = pl.DataFrame(
        {
            "lacking": served,
            "systems": [systems_for(needs, evidence.treatments) for needs in served],
        },
        schema={"lacking": TEXTS, "systems": TEXTS},
    )
    return [
        candidate(
            untreated.join(serving, on="lacking", maintain_order="left"),
            "order",
            pl.col("systems").is_not_null(),
            day=_last_day_to_fit(),
            items="systems",
            text=pl.col("lacking").list.join(", "),
        )
    ]


def _installed(blocked: pl.DataFrame, _: Evidence) -> list[pl.DataFrame]:
    return [candidate(blocked, "installed", day=_last_day_to_fit(), text="good_products")]


def _kept_up(blocked: pl.DataFrame, _: Evidence) -> list[pl.DataFrame]:
    """An earlier day of the installation, or cartridges."""
    disputed = pl.col("outcome") == "disputed"
    cartridges = pl.col("seller").is_not_null() & ~disputed
    return [
        candidate(
            blocked, "fitted_earlier", disputed, day=_last_day_to_fit(), text="good_products"
        ),
        candidate(blocked, "upkeep", cartridges, day="failed_on", text="good_products"),
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


CALLED_FOR: dict[str, CalledFor] = {
    "cause_established": _cause,
    "installation_sound": _reading,
    "water_tested": _water_test,
    "delimed": _delimings,
    "treatment_bought_new": partial(_order, pl.col("needs")),
    "treatment_suits_water": partial(
        _order, pl.col("needs").list.set_difference(pl.col("good_abilities"))
    ),
    "treatment_installed": _installed,
    "treatment_maintained": _kept_up,
}
