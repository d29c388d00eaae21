"""Which terms a unit has, when its clock starts and when its windows end.

Belongs here: edition, clock start and the four ends of cover, for every unit. Does not belong
here: what a failure date makes of them (`conditions`).
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.calendar_days import add_days, add_months
from pipelines.terms import Terms

CLOCK_DATES = ("installed_on", "purchased_on", "shipped_on")
_USED = (
    "edition",
    "family",
    "effective_from",
    "clock_order",
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
        units: records of the register.
        models: model and family.
        terms: all editions.

    Returns:
        serial, model, family, site, region, shipped_on, purchased_on, installed_on, retired_on,
        purchase_date (shipping date where there is none), edition, clock_start, clock_source,
        parts_base_end, parts_extended_end, labor_base_end, labor_extended_end. The last seven
        are null where no edition was in force on the purchase date.
    """
    dated = (
        units.select("serial", "model", "site", "region", "retired_on", *CLOCK_DATES)
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
        .with_columns(
            _end("parts_base_end", pl.col("parts_months")),
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
        )
        .sort("serial")
    )


def _end(name: str, months: pl.Expr) -> pl.Expr:
    return add_months(pl.col("clock_start"), months).alias(name)


def _with_clock(units: pl.DataFrame) -> pl.DataFrame:
    """Adds clock_start and clock_source: the first date listed, else shipment, under the cap."""
    turns = [
        (pl.col("clock_order").list.get(turn, null_on_oob=True) == name, name)
        for turn in range(len(CLOCK_DATES))
        for name in CLOCK_DATES
    ]
    from_shipment = add_days(pl.col("shipped_on"), pl.col("days_after_shipment"))
    latest = add_days(pl.col("shipped_on"), pl.col("latest_days_after_shipment"))
    capped = (pl.col("clock_start") > latest).fill_null(False)
    started = units.with_columns(
        clock_start=pl.coalesce(
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
        clock_start=pl.when(capped).then(latest).otherwise("clock_start"),
        clock_source=pl.when(capped)
        .then(pl.lit("latest_after_shipment"))
        .otherwise("clock_source"),
    )
