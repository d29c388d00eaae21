"""What a claim's failure date and water make of the unit's treatment.

Belongs here: for each claim the good systems, those installed, those kept up, and what may be said
of the others. Does not belong here: which records count for a unit (`treatment`), the outcomes
(`conditions.treatment_bought_new` and the three after it).
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.calendar_days import add_days, add_months
from pipelines.coverage.cartridges import covers_by_changes, covers_by_stock, lapses
from pipelines.coverage.declarations import Fact
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.treatment import (
    cartridges_bought,
    good_systems,
    installations,
    needing_cartridges,
    purchases_for,
    served_at,
)
from pipelines.terms import Terms

_CLAIM = (
    "claim",
    "serial",
    "site",
    "failed_on",
    "severity",
    "cartridge_months_mild",
    "cartridge_months_normal",
    "cartridge_months_severe",
    "cartridge_grace_days",
    "look_back_months",
    "fresh_days",
    "grace_until",
)


def treatment_is_asked_for() -> pl.Expr:
    """Whether 16 to 19 bear on the claim: tested water, out of grace, with needs."""
    return (
        (pl.col("water_tested") == "met")
        & (pl.col("failed_on") > pl.col("grace_until"))
        & (pl.col("needs").list.len() > 0)
    ).fill_null(False)


def with_treatment(claims: pl.DataFrame, evidence: Evidence, terms: Terms) -> pl.DataFrame:
    """Adds to each claim what its unit's treatment amounts to on the failure date.

    All are null for claims of which no treatment is asked.

    Returns:
        claims with, over the good systems (new, approved seller, ordered by then): good_products,
        good_words (with dates), good_abilities, good_sources; installed_words (with dates) and
        installed_abilities of those installed by then; unproven_products, those without any
        installation date, and provable_abilities of both; installation_sources; kept_products and
        kept_abilities; fresh_words (kept up, with dates) and settled_abilities of those kept up
        that are not fresh; lapse_words of those installed and not kept up; upkeep_sources; and,
        over all orders of systems at any time, system_orders (how many), purchase_faults (what is
        wrong with each), order_sources.
    """
    concerned = claims.filter(treatment_is_asked_for())
    units = concerned.select("serial", "site", "sellers").unique("serial")
    bought = purchases_for(units, evidence.treatment_purchases, evidence.treatments)
    systems = good_systems(bought).join(units.select("serial", "site"), on="serial")
    systems = installations(systems, evidence.units, evidence.service_calls, evidence.startups)
    held = (
        concerned.select(_CLAIM)
        .join(systems.drop("site"), on="serial")
        .filter(pl.col("bought_on") <= pl.col("failed_on"))
        .sort("claim", "product")
        .with_row_index("key")
        .with_columns(
            installed=(pl.col("installed_on") <= pl.col("failed_on")).fill_null(False),
            fresh=is_fresh(),
        )
    )
    held = held.join(_upkeep(held, bought, evidence), on="key", how="left").with_columns(
        kept=pl.col("kept").fill_null(False)
    )
    for facts in (_by_claim(held), _orders(concerned, bought)):
        claims = claims.join(facts, on="claim", how="left", maintain_order="left")
    return claims


def is_fresh() -> pl.Expr:
    """19: whether a system was fitted shortly before the failure, and not within the grace."""
    since = add_days(pl.col("failed_on"), -pl.col("fresh_days"))
    installed = pl.col("installed_on")
    return ((installed > since) & (installed > pl.col("grace_until"))).fill_null(False)


def _by_claim(held: pl.DataFrame) -> pl.DataFrame:
    installed, kept = pl.col("installed"), pl.col("kept")
    unproven, fresh = pl.col("installed_on").is_null(), pl.col("fresh")

    def abilities(rows: pl.Expr) -> pl.Expr:
        return pl.col("removes").filter(rows).explode().drop_nulls().unique().sort()

    def products(rows: pl.Expr) -> pl.Expr:
        return pl.col("product").filter(rows).sort().str.join(", ")

    def dated(day: str) -> pl.Expr:
        return pl.format("{} on {}", "product", day)

    everything = pl.lit(True)
    return held.group_by("claim").agg(
        good_products=products(everything),
        good_words=dated("bought_on").sort().str.join(", "),
        good_abilities=abilities(everything),
        good_sources=pl.col("purchase_source").unique().sort(),
        installed_words=dated("installed_on").filter(installed).sort().str.join(", "),
        installed_abilities=abilities(installed),
        unproven_products=products(unproven),
        provable_abilities=abilities(installed | unproven),
        installation_sources=pl.col("installation_source").drop_nulls().unique().sort(),
        kept_products=products(installed & kept),
        kept_abilities=abilities(installed & kept),
        fresh_words=dated("installed_on").filter(installed & kept & fresh).sort().str.join(", "),
        settled_abilities=abilities(installed & kept & ~fresh),
        lapse_words=pl.col("lapse_words").filter(installed & ~kept).sort().str.join("; "),
        upkeep_sources=pl.col("upkeep_sources").explode().drop_nulls().unique().sort(),
    )


def _upkeep(held: pl.DataFrame, bought: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """For each installed system: key, kept, lapse_words (null where kept), upkeep_sources."""
    cartridge = needing_cartridges(evidence.treatments).with_columns(needs_cartridge=pl.lit(True))
    months = (
        pl.when(pl.col("severity") == "mild")
        .then("cartridge_months_mild")
        .when(pl.col("severity") == "normal")
        .then("cartridge_months_normal")
        .otherwise("cartridge_months_severe")
    )
    systems = (
        held.filter("installed")
        .join(cartridge, on="product", how="left")
        .with_columns(
            months=months,
            grace_days="cartridge_grace_days",
            day="failed_on",
            # A lapse that ended by then is forgiven; null: none is.
            forgiven_to=add_months(pl.col("failed_on"), -pl.col("look_back_months")),
        )
    )
    worn = systems.filter(pl.col("needs_cartridge").fill_null(False))
    keys = worn.select("key", "serial", "product")
    changes = served_at(worn, evidence.units, evidence.service_calls, "cartridge_change")
    changes = keys.join(changes, on=["serial", "product"]).drop("serial", "product")
    stock = keys.join(cartridges_bought(bought), on=["serial", "product"])
    changed = _first_lapse(covers_by_changes(worn, changes), worn, "changes")
    stocked = _first_lapse(covers_by_stock(worn, stock), worn, "stock")
    lapsed = changed.join(stocked, on="key").select(
        "key",
        lapse_words=pl.format("by {}, and by {}", "changes_words", "stock_words"),
    )
    sources = (
        pl.concat(
            [
                changes.select("key", on="done_on", source="done_source"),
                stock.select("key", on="ordered_on", source="purchase_source"),
            ]
        )
        .join(worn.select("key", "day"), on="key")
        .filter(pl.col("on") <= pl.col("day"))
        .group_by("key")
        .agg(upkeep_sources=pl.col("source").unique().sort())
    )
    return (
        systems.select("key", "product")
        .join(lapsed, on="key", how="left")
        .join(sources, on="key", how="left")
        .select(
            "key",
            "upkeep_sources",
            kept=pl.col("lapse_words").is_null(),
            lapse_words=pl.format("{} {}", "product", "lapse_words"),
        )
    )


def _first_lapse(covers: pl.DataFrame, systems: pl.DataFrame, by: str) -> pl.DataFrame:
    """The first lapse of each system that counts, in words: key, `<by>_words`."""
    words = pl.format(
        "{} covered to {} with grace and then not before {}",
        pl.lit(by),
        "ran_out_on",
        "ended_on",
    )
    return (
        lapses(covers, systems)
        .join(systems.select("key", "forgiven_to"), on="key")
        .filter(pl.col("forgiven_to").is_null() | (pl.col("ended_on") > pl.col("forgiven_to")))
        .sort("key", "ended_on")
        .group_by("key", maintain_order=True)
        .agg(words.first().alias(f"{by}_words"))
    )


def _orders(concerned: pl.DataFrame, bought: pl.DataFrame) -> pl.DataFrame:
    """What is wrong with each order of a system: claim, system_orders, purchase_faults, sources."""
    late = pl.col("ordered_on") > pl.col("failed_on")
    faults = pl.concat_list(
        pl.when(pl.col("condition") != "new").then(pl.format("bought {}", "condition")),
        pl.when(~pl.col("approved")).then(pl.format("sold by {}, not approved", "seller")),
        pl.when(late).then(pl.format("ordered on {}, after the failure", "ordered_on")),
    ).list.drop_nulls()
    return (
        concerned.select("claim", "serial", "failed_on")
        .join(bought.filter(pl.col("kind") == "system"), on="serial")
        .with_columns(
            fault=pl.format("{} (order {}) was {}", "product", "order", faults.list.join(" and ")),
        )
        .sort("claim", "ordered_on", "order", "line")
        .group_by("claim", maintain_order=True)
        .agg(
            system_orders=pl.len().cast(pl.Int64),
            purchase_faults=pl.col("fault").str.join("; "),
            order_sources=pl.col("purchase_source"),
        )
    )


TREATMENT_HELD = Fact(
    (
        "good_products",
        "good_words",
        "good_abilities",
        "good_sources",
        "installed_words",
        "installed_abilities",
        "unproven_products",
        "provable_abilities",
        "installation_sources",
        "kept_products",
        "kept_abilities",
        "fresh_words",
        "settled_abilities",
        "lapse_words",
        "upkeep_sources",
        "system_orders",
        "purchase_faults",
        "order_sources",
    ),
    with_treatment,
)
