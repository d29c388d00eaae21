"""The good systems of a unit on a day: which are installed, which are kept up, which are fresh.

Belongs here: Good, installed and Kept of decisions.md, 16 to 19, for claims on their failure date
and for whoever else asks on a day. Does not belong here: which records count for a unit
(`treatment`), how long cartridges last (`cartridges`), what follows for a claim
(`claim_treatment`).
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.calendar_days import add_days, add_months
from pipelines.coverage.cartridges import (
    covers_by_changes,
    covers_by_stock,
    kept_windows,
    lapses,
)
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.treatment import (
    cartridges_bought,
    good_systems,
    installations,
    needing_cartridges,
    served_at,
)

_QUESTION_COLUMNS = (
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


def systems_held(questions: pl.DataFrame, bought: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """The good systems ordered by the day that is asked about, one row a question and system.

    Args:
        questions: claim (what asks: a claim or anything else with one day), serial, site, failed_on
            (the day), severity, grace_until, and the terms of `_QUESTION_COLUMNS`; one row a
            `claim`.
        bought: of `purchases_for` for the units that are asked about.
        evidence: what is seen as of its as-of date.

    Returns:
        What `goods_held` returns, and kept (installed and kept up), lapse_words (null where
        kept), upkeep_sources.
    """
    held = goods_held(questions, bought, evidence).sort("claim", "product").with_row_index("key")
    return held.join(_upkeep(held, bought, evidence), on="key", how="left").with_columns(
        kept=pl.col("kept").fill_null(False)
    )


def goods_held(questions: pl.DataFrame, bought: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """The good systems ordered by the day that is asked about, without how they were kept up.

    Takes what `systems_held` takes. Returns `_QUESTION_COLUMNS` of each question, and product,
    removes, bought_on, purchase_source, installed_on, installation_source (both null without
    proof), installed (by the day), fresh.
    """
    systems = good_systems(bought).join(
        questions.select("serial", "site").unique("serial"), on="serial"
    )
    systems = installations(systems, evidence.units, evidence.service_calls, evidence.startups)
    return (
        questions.select(_QUESTION_COLUMNS)
        .join(systems.drop("site"), on="serial")
        .filter(pl.col("bought_on") <= pl.col("failed_on"))
        .with_columns(
            installed=(pl.col("installed_on") <= pl.col("failed_on")).fill_null(False),
            fresh=_is_fresh(),
        )
    )


def _is_fresh() -> pl.Expr:
    """19: whether a system was fitted shortly before the failure, and not within the grace."""
    since = add_days(pl.col("failed_on"), -pl.col("fresh_days"))
    installed = pl.col("installed_on")
    return ((installed > since) & (installed > pl.col("grace_until"))).fill_null(False)


def _upkeep(held: pl.DataFrame, bought: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """For each installed system: key, kept, lapse_words (null where kept), upkeep_sources."""
    cartridge = needing_cartridges(evidence.treatments).with_columns(needs_cartridge=pl.lit(True))
    systems = (
        held.filter("installed")
        .join(cartridge, on="product", how="left")
        .with_columns(
            months=_months_of_cartridges(),
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
    by_changes, by_stock = covers_by_changes(worn, changes), covers_by_stock(worn, stock)
    kept = keys_kept(
        pl.concat([kept_windows(worn, by_changes), kept_windows(worn, by_stock)]), worn
    )
    changed = _first_lapse(by_changes, worn, "changes")
    stocked = _first_lapse(by_stock, worn, "stock")
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
    lasts = pl.col("needs_cartridge").is_null() | pl.col("kept_up").fill_null(False)
    return (
        systems.select("key", "product", "needs_cartridge")
        .join(kept.with_columns(kept_up=True), on="key", how="left")
        .join(lapsed, on="key", how="left")
        .join(sources, on="key", how="left")
        .select(
            "key",
            "upkeep_sources",
            kept=lasts,
            lapse_words=pl.when(~lasts).then(pl.format("{} {}", "product", "lapse_words")),
        )
    )


def keys_kept(windows: pl.DataFrame, looked_at: pl.DataFrame) -> pl.DataFrame:
    """The systems that are kept up on a day: key.

    Args:
        windows: key, from_on, until_on (null: for ever): when each is kept up.
        looked_at: key, day.
    """
    day, until = pl.col("day"), pl.col("until_on")
    return (
        windows.join(looked_at.select("key", "day"), on="key")
        .filter((pl.col("from_on") <= day) & (until.is_null() | (day <= until)))
        .select("key")
        .unique()
    )


def _months_of_cartridges() -> pl.Expr:
    """How long a cartridge lasts in the water of the row's severity."""
    return (
        pl.when(pl.col("severity") == "mild")
        .then("cartridge_months_mild")
        .when(pl.col("severity") == "normal")
        .then("cartridge_months_normal")
        .otherwise("cartridge_months_severe")
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


def windows_kept_up(
    systems: pl.DataFrame, bought: pl.DataFrame, evidence: Evidence
) -> pl.DataFrame:
    """The days on which systems are kept up, also beyond today if nothing more is bought.

    Args:
        systems: key, serial, site, product, installed_on, severity, and the terms of cartridges;
            one row a `key`, installed systems alone.
        bought: of `purchases_for` for their units.
        evidence: what is seen as of its as-of date.

    Returns:
        key, from_on, until_on (both included; null: no cartridge is listed, so for ever).
    """
    listed = needing_cartridges(evidence.treatments)
    worn = systems.join(listed, on="product", how="semi").with_columns(
        months=_months_of_cartridges(), grace_days="cartridge_grace_days"
    )
    keys = worn.select("key", "serial", "product")
    changes = keys.join(
        served_at(worn, evidence.units, evidence.service_calls, "cartridge_change"),
        on=["serial", "product"],
    )
    stock = keys.join(cartridges_bought(bought), on=["serial", "product"])
    lasting = systems.join(listed, on="product", how="anti").select(
        "key", from_on="installed_on", until_on=pl.lit(None, pl.Date)
    )
    return pl.concat(
        [
            lasting,
            kept_windows(worn, covers_by_changes(worn, changes)),
            kept_windows(worn, covers_by_stock(worn, stock)),
        ]
    )
