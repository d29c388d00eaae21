"""What does not change about a unit and figures are sliced by: entry, shipment, lot, cold supply.

Belongs here: those words. Does not belong here: what changes by the day (`watch_spans`).
"""

from __future__ import annotations

import polars as pl

NO_LOT, UNKNOWN = "none", "unknown"
COLD_UP_TO_C, COOL_UP_TO_C = 6.0, 12.0  # coldest supply water


def with_dimensions(
    units: pl.DataFrame, regions: pl.DataFrame, lots: pl.DataFrame | None
) -> pl.DataFrame:
    """Adds entry and shipped (quarters such as `2025-Q3`), lot and cold_supply.

    Args:
        units: serial, model, region, shipped_on, own_clock_start.
        regions: region, coldest_supply_c.
        lots: the reference file; None: there is none.

    Returns:
        The units in their order; entry is null without a clock start.
    """
    coldest = pl.col("coldest_supply_c")
    cold = (
        pl.when(coldest <= COLD_UP_TO_C)
        .then(pl.lit("cold"))
        .when(coldest <= COOL_UP_TO_C)
        .then(pl.lit("cool"))
        .when(coldest.is_not_null())
        .then(pl.lit("mild"))
        .otherwise(pl.lit(UNKNOWN))
    )
    return (
        units.join(
            regions.select("region", "coldest_supply_c"),
            on="region",
            how="left",
            maintain_order="left",
        )
        .with_columns(
            entry=quarter(pl.col("own_clock_start")),
            shipped=quarter(pl.col("shipped_on")),
            cold_supply=cold,
        )
        .drop("coldest_supply_c")
        .join(lots_of(units, lots), on="serial", how="left", maintain_order="left")
        .with_columns(pl.col("lot").fill_null(NO_LOT))
    )


def quarter(day: pl.Expr) -> pl.Expr:
    """`2025-Q3`; null where there is no day."""
    return pl.when(day.is_not_null()).then(pl.format("{}-Q{}", day.dt.year(), day.dt.quarter()))


def lots_of(units: pl.DataFrame, lots: pl.DataFrame | None) -> pl.DataFrame:
    """The lot of each unit that has one: that of the first row whose range holds its serial.

    Serials compare as text without their digits first, then by their numbers; a row that names a
    model holds only units of it.

    Args:
        units: serial, model.
        lots: lot, serial_from, serial_to, model.
    """
    if lots is None or lots.is_empty():
        return pl.DataFrame(schema={"serial": pl.String, "lot": pl.String})
    ranges = lots.select(
        "lot",
        of_model="model",
        letters=letters_of(pl.col("serial_from")),
        first=numbers_of(pl.col("serial_from")),
        last=numbers_of(pl.col("serial_to")),
        row=pl.int_range(pl.len()),
    )
    own = pl.col("of_model").is_null() | (pl.col("of_model") == pl.col("model"))
    return (
        units.select(
            "serial", "model", letters=letters_of(pl.col("serial")), at=numbers_of(pl.col("serial"))
        )
        .join(ranges, on="letters")
        .filter((pl.col("first") <= pl.col("at")) & (pl.col("at") <= pl.col("last")) & own)
        .sort("serial", "row")
        # Ranges may overlap: the file's first row that holds the serial names its lot.
        .unique("serial", keep="first", maintain_order=True)
        .select("serial", "lot")
    )


def letters_of(serial: pl.Expr) -> pl.Expr:
    """A serial without its digits."""
    return serial.str.replace_all(r"\d+", "")


def numbers_of(serial: pl.Expr) -> pl.Expr:
    """A serial's numbers as one text that sorts as they do."""
    digits = pl.element().str.strip_chars_start("0").str.pad_start(24, "0")
    return serial.str.extract_all(r"\d+").list.eval(digits).list.join(".")
