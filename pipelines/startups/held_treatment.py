"""The water and the treatment of every unit as of the as-of date, by the rules of claims.

Belongs here: asking `pipelines.coverage` for Test, Needs, Good and Kept of all units at once. Does
not belong here: any rule of its own, and what a unit is told.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipelines.coverage.supply_tests import with_needs
from pipelines.coverage.systems_held import goods_held, windows_kept_up
from pipelines.coverage.treatment import purchases_for
from pipelines.startups.reviewed_units import Reviewed, earliest_test
from pipelines.units.treatment_states import ability_mask
from schemas.columns import TEXTS

_TERMS_OF_CARTRIDGES = (
    "cartridge_months_mild",
    "cartridge_months_normal",
    "cartridge_months_severe",
    "cartridge_grace_days",
    "look_back_months",
)


@dataclass(frozen=True)
class Held:
    """What each unit that needs treatment has.

    latest, earliest: serial, test_sample, test_sampled_on, test_reported_on, severity, needs,
        by_model (whether the model alone asks for them, the water being within its limits), and
        grace_until, of the latest (Test) and of the earliest complete supply test.
    systems: serial, product, able (what it removes, as `ability_mask`), bought_on, installed_on
        (null without proof), one row a unit and good system.
    windows: serial, severity, able, from_on, until_on (both included; null: for ever): when the
        installed systems are kept up in water of that severity.
    """

    latest: pl.DataFrame
    earliest: pl.DataFrame
    systems: pl.DataFrame
    windows: pl.DataFrame


def held_treatment(look: Reviewed) -> Held:
    """What units whose model needs treatment have as of the as-of date."""
    units = look.units.filter(pl.col("needs_treatment"))
    complete = look.tests.filter("complete")
    # `look.tests` are in the order of Test, so that the last of a unit is the one that counts.
    latest = complete.unique("serial", keep="last", maintain_order=True)
    latest, earliest = (
        _with_needs(units, chosen, complete) for chosen in (latest, earliest_test(complete))
    )
    bought = purchases_for(
        units.select("serial", "site", "sellers"),
        look.evidence.treatment_purchases,
        look.evidence.treatments,
    )
    questions = units.join(
        latest.select("serial", "severity", "grace_until"), on="serial"
    ).with_columns(claim="serial", failed_on=pl.lit(look.evidence.as_of))
    goods = goods_held(questions, bought, look.evidence).with_columns(
        able=_able(look.evidence.treatments)
    )
    waters = pl.concat([latest, earliest]).select("serial", "severity").unique()
    return Held(
        latest,
        earliest,
        goods.select("serial", "product", "able", "bought_on", "installed_on"),
        _windows(goods, waters, bought, look),
    )


def _able(treatments: pl.DataFrame) -> pl.Expr:
    """What a product removes, as `ability_mask` has it."""
    systems = treatments.filter(pl.col("kind") == "system").select(
        "product", able=ability_mask(pl.col("removes"))
    )
    if systems.is_empty():  # the library would keep the product's own type
        return pl.lit(None, pl.Int64)
    return pl.col("product").replace_strict(
        systems["product"], systems["able"], return_dtype=pl.Int64
    )


def _with_needs(units: pl.DataFrame, chosen: pl.DataFrame, complete: pl.DataFrame) -> pl.DataFrame:
    first = complete.group_by("serial").agg(first_reported_on=pl.col("test_reported_on").min())
    return (
        units.select("serial", "always_treat", "clock_start", "grace_days")
        .join(chosen, on="serial")
        .join(first, on="serial", how="left")
        # No failure has happened, so that no cause narrows what the water asks for.
        .with_columns(judged_by=pl.lit("water"), cause_abilities=pl.lit(None, TEXTS))
        .pipe(with_needs)
        .with_columns(by_model=pl.col("test_needs").list.len() == 0)
        .select(
            "serial",
            "by_model",
            "test_sample",
            "test_sampled_on",
            "test_reported_on",
            "severity",
            "needs",
            "grace_until",
        )
        .sort("serial")
    )


def _windows(
    goods: pl.DataFrame, waters: pl.DataFrame, bought: pl.DataFrame, look: Reviewed
) -> pl.DataFrame:
    """The windows of `Held`, for each unit in the severities of its tests."""
    systems = (
        goods.filter("installed")
        .select("serial", "site", "product", "able", "installed_on", *_TERMS_OF_CARTRIDGES)
        .join(waters, on="serial")
        .with_row_index("key")
    )
    windows = windows_kept_up(systems, bought, look.evidence)
    return windows.join(systems.select("key", "serial", "severity", "able"), on="key").drop("key")
