"""The state of every unit's water treatment, day by day: treated, lapsed, untreated, not needed.

Belongs here: laying installations and cartridge covers out in time, against what the unit's water
needs. Does not belong here: which purchases and changes count (`pipelines.coverage.treatment`),
how long cartridges last (`pipelines.coverage.cartridges`), rates by state (`pipelines.field`).

Needs and severity are those of the test behind the unit's water profile, throughout. A unit is
treated from the day on which the good systems then installed do all that is needed; it is lapsed
on the days on which those whose cartridges last, grace included, by changes or by stock, do not.
"""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl

from pipelines.coverage.cartridges import covers_by_changes, covers_by_stock
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.treatment import (
    cartridges_bought,
    good_systems,
    installations,
    needing_cartridges,
    purchases_for,
    served_at,
)
from schemas import codes

_FOREVER = date(9999, 12, 31)
ABILITY_BITS = {ability: 1 << place for place, ability in enumerate(codes.ABILITIES)}
_ONE_DAY = timedelta(days=1)
_KEY = ["serial", "product"]


def ability_mask(abilities: pl.Expr) -> pl.Expr:
    """A list of abilities as a number with one bit each, so that sets compare as numbers."""
    bits = pl.element().replace_strict(ABILITY_BITS, return_dtype=pl.Int64)
    return abilities.list.eval(bits).list.sum().fill_null(0)


def fitted_systems(units: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """The good systems of each unit that have an installation date.

    Args:
        units: serial, site, sellers, severity (null: normal), cartridge_months_mild, _normal and
            _severe, cartridge_grace_days.
        evidence: what is seen as of its as-of date.

    Returns:
        serial, site, product, removes, installed_on, active_from (bought and installed), months
        (that a cartridge lasts; null where none is listed for the system), grace_days.
    """
    bought = purchases_for(units, evidence.treatment_purchases, evidence.treatments)
    # Water that nobody tested wears cartridges as normal water does.
    lasting = pl.coalesce(
        pl.when(pl.col("severity") == "mild").then("cartridge_months_mild"),
        pl.when(pl.col("severity") == "severe").then("cartridge_months_severe"),
        pl.col("cartridge_months_normal"),
    )
    systems = good_systems(bought).join(
        units.select("serial", "site", months=lasting, grace_days="cartridge_grace_days"),
        on="serial",
    )
    needing = needing_cartridges(evidence.treatments)["product"]
    return (
        installations(systems, evidence.units, evidence.service_calls, evidence.startups)
        .filter(pl.col("installed_on").is_not_null())
        .with_columns(
            # A system that was fitted before it was bought counts from the purchase.
            active_from=pl.max_horizontal("bought_on", "installed_on"),
            months=pl.when(pl.col("product").is_in(needing.implode())).then("months"),
        )
        .select(*_KEY, "site", "removes", "installed_on", "active_from", "months", "grace_days")
    )


def cartridge_covers(fitted: pl.DataFrame, units: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Every cover that a change or a purchase of cartridges gives a fitted system.

    Args:
        fitted: of `fitted_systems`.
        units: serial, site, sellers.
        evidence: what is seen as of its as-of date.

    Returns:
        serial, product, how (`changes` or `stock`), since, due_on, lasts_until, next_on.
    """
    # A system without cartridges has nothing that could lapse.
    keyed = fitted.filter(pl.col("months").is_not_null()).with_columns(
        key=pl.concat_str(_KEY, separator="\x1f")
    )
    systems = keyed.select("key", "installed_on", "months", "grace_days")
    changes = served_at(keyed, evidence.units, evidence.service_calls, "cartridge_change").select(
        key=pl.concat_str(_KEY, separator="\x1f"), done_on="done_on", done_source="done_source"
    )
    bought = purchases_for(units, evidence.treatment_purchases, evidence.treatments)
    stock = cartridges_bought(bought).select(
        "ordered_on",
        "order",
        "line",
        "quantity",
        "purchase_source",
        key=pl.concat_str(_KEY, separator="\x1f"),
    )
    both = [
        covers_by_changes(systems, changes).with_columns(how=pl.lit("changes")),
        covers_by_stock(systems, stock).with_columns(how=pl.lit("stock")),
    ]
    return (
        pl.concat(both)
        .join(keyed.select("key", *_KEY), on="key")
        .select(*_KEY, "how", "since", "due_on", "lasts_until", "next_on")
    )


def treatment_states(
    units: pl.DataFrame, fitted: pl.DataFrame, covers: pl.DataFrame
) -> pl.DataFrame:
    """The state of each unit's treatment in every stretch of its exposure.

    Args:
        units: serial, water_profile, needs, watched_from, watched_until; units that are never
            at risk (null) have no state.
        fitted: of `fitted_systems`; covers: of `cartridge_covers`.

    Returns:
        serial, from_day, until_day (half-open), state; the stretches of a unit join up from
        watched_from to watched_until, and neighbors differ.
    """
    exposed = units.filter(pl.col("watched_from").is_not_null()).select(
        "serial",
        "water_profile",
        "watched_from",
        "watched_until",
        needed=ability_mask(pl.col("needs")),
    )
    in_need = exposed.filter(pl.col("needed") > 0)
    spans = _spans(fitted, covers).join(in_need.select("serial"), on="serial", how="semi")
    changing = in_need.join(spans.select("serial").unique(), on="serial", how="semi")
    # Most units never change their state: only the others are cut into stretches.
    steady = exposed.join(changing.select("serial"), on="serial", how="anti").select(
        "serial",
        from_day="watched_from",
        until_day="watched_until",
        state=pl.when(pl.col("water_profile") == "untested")
        .then(pl.lit("untested"))
        .when(pl.col("needed") == 0)
        .then(pl.lit("not needed"))
        .otherwise(pl.lit("untreated")),
    )
    return pl.concat([steady, _changing_states(changing, spans)]).sort("serial", "from_day")


def _spans(fitted: pl.DataFrame, covers: pl.DataFrame) -> pl.DataFrame:
    """When each fitted system is there, and when it is kept up: serial, start, end, two masks."""
    mask = ability_mask(pl.col("removes"))
    none = pl.lit(0, pl.Int64)
    # Nothing tells of a system being taken out again.
    there = fitted.select(
        "serial", start="active_from", end=pl.lit(_FOREVER), fitted=mask, kept=none
    )
    lasting = fitted.filter(pl.col("months").is_null()).select(
        "serial", start="active_from", end=pl.lit(_FOREVER), fitted=none, kept=mask
    )
    covered = covers.join(fitted.select(*_KEY, "removes", "active_from"), on=_KEY).select(
        "serial",
        start=pl.max_horizontal("since", "active_from"),
        # The last day of the grace is still kept up; the next change begins a cover of its own.
        end=pl.min_horizontal(pl.col("lasts_until") + _ONE_DAY, "next_on"),
        fitted=none,
        kept=mask,
    )
    return pl.concat([there, lasting, covered]).filter(pl.col("start") < pl.col("end"))


def _changing_states(units: pl.DataFrame, spans: pl.DataFrame) -> pl.DataFrame:
    """The states of units whose systems come, lapse and are renewed within their exposure."""
    inside = spans.join(units, on="serial").with_columns(
        start=pl.max_horizontal("start", "watched_from"),
        end=pl.min_horizontal("end", "watched_until"),
    )
    inside = inside.filter(pl.col("start") < pl.col("end"))
    edges = pl.concat(
        [
            units.select("serial", day="watched_from"),
            inside.select("serial", day="start"),
            inside.select("serial", day="end"),
        ]
    ).unique()
    pieces = (
        edges.join(units.select("serial", "watched_until", "needed"), on="serial")
        .filter(pl.col("day") < pl.col("watched_until"))
        .sort("serial", "day")
        .with_columns(
            until=pl.coalesce(pl.col("day").shift(-1).over("serial"), pl.col("watched_until"))
        )
    )
    at_work = (
        pieces.select("serial", "day")
        .join(inside.select("serial", "start", "end", "fitted", "kept"), on="serial")
        .filter((pl.col("start") <= pl.col("day")) & (pl.col("day") < pl.col("end")))
        # Together the systems of the day do what any of them does.
        .group_by("serial", "day")
        .agg(pl.col("fitted", "kept").bitwise_or())
    )
    needed = pl.col("needed")
    return (
        pieces.join(at_work, on=["serial", "day"], how="left")
        .with_columns(pl.col("fitted", "kept").fill_null(0))
        .with_columns(
            state=pl.when((pl.col("kept") & needed) == needed)
            .then(pl.lit("treated"))
            .when((pl.col("fitted") & needed) == needed)
            .then(pl.lit("lapsed"))
            .otherwise(pl.lit("untreated"))
        )
        .sort("serial", "day")
        # Stretches that differ only in which systems are at work are one.
        .with_columns(run=pl.col("state").rle_id().over("serial"))
        .group_by("serial", "run")
        .agg(
            from_day=pl.col("day").min(),
            until_day=pl.col("until").max(),
            state=pl.col("state").first(),
        )
        .select("serial", "from_day", "until_day", "state")
    )


def cartridge_spans(covers: pl.DataFrame, as_of: date) -> pl.DataFrame:
    """The stretches in which a system's cartridges lasted, grace included, and those between.

    Args:
        covers: of `cartridge_covers`.
        as_of: nothing is told of the days after it.

    Returns:
        serial, product, state (`covered` or `lapsed`), start, end (half-open).
    """
    today = pl.lit(as_of + _ONE_DAY)
    covered = (
        covers.select(
            *_KEY, start="since", end=pl.min_horizontal(pl.col("lasts_until") + _ONE_DAY, today)
        )
        .filter(pl.col("start") < pl.col("end"))
        .sort(*_KEY, "start", "end")
        # By changes and by stock a day may be covered twice: what touches is one stretch.
        .with_columns(reached=pl.col("end").cum_max().shift(1).over(_KEY))
        .with_columns(
            run=(pl.col("start") > pl.col("reached")).fill_null(True).cum_sum().over(_KEY)
        )
        .group_by(*_KEY, "run")
        .agg(start=pl.col("start").min(), end=pl.col("end").max())
        .sort(*_KEY, "start")
    )
    lapsed = covered.select(
        *_KEY,
        state=pl.lit("lapsed"),
        start="end",
        end=pl.col("start").shift(-1).over(_KEY).fill_null(today),
    ).filter(pl.col("start") < pl.col("end"))
    held = covered.select(*_KEY, pl.lit("covered").alias("state"), "start", "end")
    return pl.concat([held, lapsed]).sort(*_KEY, "start")
