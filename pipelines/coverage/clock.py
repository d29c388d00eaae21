"""Which terms a unit has, when its clock starts and when its windows end.

Belongs here: edition, clock start and the four ends of cover, for every unit. Does not belong
here: what a failure date makes of them (`conditions`).
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.calendar_days import add_days, add_months
from pipelines.coverage.replacements import NO_CLOCK, first_of_chain, links
from pipelines.terms import Terms

CLOCK_DATES = ("installed_on", "purchased_on", "shipped_on")
CARRIES_ON = "carries_on"
REPLACED_UNIT = "replaced_unit"
_USED = (
    "edition",
    "family",
    "effective_from",
    "clock_order",
    "replacement",
    "days_after_shipment",
    "latest_days_after_shipment",
    "parts_months",
    "bonus_parts_months",
    "labor_months",
    "bonus_labor_months",
)


def unit_terms(units: pl.DataFrame, models: pl.DataFrame, terms: Terms) -> pl.DataFrame:
    """The terms and the clock of every unit, sorted by serial.

    Args:
        units: records of the register, with those that they took over from (`replacements`).
        models: model and family.
        terms: all editions.

    Returns:
        serial, model, family, site, region, shipped_on, purchased_on, installed_on, retired_on,
        purchase_date (shipping date where there is none), edition, clock_start, clock_source,
        parts_base_end, parts_extended_end, labor_base_end, labor_extended_end; these seven are
        null where no edition was in force on the purchase date. Besides: replaces,
        own_clock_start (by the unit's own dates, whatever it took over), replacement_fault (why
        nothing can be carried on from the replaced unit; null otherwise), replacement_sharing
        (how many units name the same replaced one), replaced_on (the day on which another unit
        took over from this one; null where none did).
    """
    dated = (
        units.select("serial", "model", "site", "region", "retired_on", "replaces", *CLOCK_DATES)
        .join(models.select("model", "family"), on="model", how="left")
        .with_columns(purchase_date=pl.coalesce("purchased_on", "shipped_on"))
        .sort("purchase_date", "serial")
    )
    editions = terms.values.select(_USED).sort("effective_from")
    joined = dated.join_asof(
        editions,
        left_on="purchase_date",
        right_on="effective_from",
        by="family",
        strategy="backward",
        check_sortedness=False,
    )
    return (
        _with_clock(joined)
        .pipe(_carried_on)
        .with_columns(
            _end("parts_base_end", pl.col("parts_months")),
            # Added in one step: cover and bonus one after the other would be clamped twice.
            _end("parts_extended_end", pl.col("parts_months") + pl.col("bonus_parts_months")),
            _end("labor_base_end", pl.col("labor_months")),
            _end("labor_extended_end", pl.col("labor_months") + pl.col("bonus_labor_months")),
        )
        .select(
            "serial",
            "model",
            "family",
            "site",
            "region",
            "shipped_on",
            "purchased_on",
            "installed_on",
            "retired_on",
            "purchase_date",
            "edition",
            "clock_start",
            "clock_source",
            "parts_base_end",
            "parts_extended_end",
            "labor_base_end",
            "labor_extended_end",
            "replaces",
            "own_clock_start",
            "replacement_fault",
            "replacement_sharing",
            "replaced_on",
        )
        .sort("serial")
    )


def _end(name: str, months: pl.Expr) -> pl.Expr:
    return add_months(pl.col("clock_start"), months).alias(name)


def _carried_on(units: pl.DataFrame) -> pl.DataFrame:
    """Puts the clock of the unit that was replaced in the place of a unit's own.

    Only where the unit's own terms say `carries_on`. A chain is followed as long as the units on
    it carry on; the clock is that of the unit at which it ends.
    """
    linked = links(units).join(
        units.select("serial", "replacement", "own_clock_start"), on="serial", how="left"
    )
    sound = linked.filter(pl.col("fault").is_null())
    carrying = sound.filter(pl.col("replacement") == CARRIES_ON)
    begun = first_of_chain(carrying.select("serial", "replaces")).join(
        units.select(first="serial", first_clock_start="own_clock_start"), on="first", how="left"
    )
    no_clock = pl.col("first").is_not_null() & pl.col("first_clock_start").is_null()
    takeovers = linked.join(begun, on="serial", how="left").select(
        "serial",
        "first_clock_start",
        replacement_sharing="sharing",
        replacement_fault=pl.when(no_clock).then(pl.lit(NO_CLOCK)).otherwise(pl.col("fault")),
    )
    # Where several say that they took over from one unit, it left when the first began.
    followed = sound.group_by(serial="replaces").agg(replaced_on=pl.col("own_clock_start").min())
    carried = pl.col("first_clock_start").is_not_null()
    return (
        units.join(takeovers, on="serial", how="left")
        .join(followed, on="serial", how="left")
        .with_columns(
            clock_start=pl.coalesce("first_clock_start", "own_clock_start"),
            clock_source=pl.when(carried)
            .then(pl.lit(REPLACED_UNIT))
            .otherwise(pl.col("clock_source")),
        )
    )


def _with_clock(units: pl.DataFrame) -> pl.DataFrame:
    """Adds own_clock_start and clock_source: the first date listed, else shipment, capped."""
    turns = [
        (pl.col("clock_order").list.get(turn, null_on_oob=True) == name, name)
        for turn in range(len(CLOCK_DATES))
        for name in CLOCK_DATES
    ]
    from_shipment = add_days(pl.col("shipped_on"), pl.col("days_after_shipment"))
    # However late a unit is installed; without that term there is no such day.
    latest = add_days(pl.col("shipped_on"), pl.col("latest_days_after_shipment"))
    capped = (pl.col("own_clock_start") > latest).fill_null(False)
    started = units.with_columns(
        own_clock_start=pl.coalesce(
            *(pl.when(listed).then(pl.col(name)) for listed, name in turns), from_shipment
        ),
        clock_source=pl.coalesce(
            *(
                pl.when(listed & pl.col(name).is_not_null()).then(pl.lit(name))
                for listed, name in turns
            ),
            pl.when(from_shipment.is_not_null()).then(pl.lit("shipped_on")),
        ),
    )
    return started.with_columns(
        own_clock_start=pl.when(capped).then(latest).otherwise("own_clock_start"),
        clock_source=pl.when(capped)
        .then(pl.lit("latest_after_shipment"))
        .otherwise("clock_source"),
    )
