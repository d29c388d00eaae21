"""What a claim's failure date and water make of the unit's treatment.

Belongs here: what the systems held (`systems_held`) come to for each claim, and what may be said
of other orders. Does not belong here: the outcomes (`conditions.treatment_bought_new` and the
three after it).
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.declarations import Fact
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.systems_held import systems_held
from pipelines.coverage.treatment import purchases_for
from pipelines.terms import Terms


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
    held = systems_held(concerned, bought, evidence)
    for facts in (_by_claim(held), _orders(concerned, bought)):
        claims = claims.join(facts, on="claim", how="left", maintain_order="left")
    return claims


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
    treatment_is_asked_for,
)
