"""Rows of the long layout as rows of the feed, to be corrected: one analyte each.

Belongs here: the way there and back. Does not belong here: putting corrections in (`corrections`),
reading results (`long_layout`).

A row of the long layout is known by the sample's columns, the feed's column of its analyte, and
that it is one such row: beside its cells its content has `analyte`, so that no row of the wide
layout can be taken for it. What the mapping does not name has no column, and is not corrected.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from pipelines.records.mapping_checks import LONG_ANALYTES
from schemas.codes import ANALYTES

ANALYTE = "analyte"
_OF_RESULT = ("value", "unit")  # columns of reasons that speak of the result


def as_rows(
    rows: pl.DataFrame, parsed_reasons: pl.DataFrame, texts: pl.DataFrame
) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """Results as rows of the feed, each with its value under its analyte's column.

    Args:
        rows: by `long_layout.parsed_long_schema`.
        parsed_reasons: by line; they name `value` and `unit`.
        texts: the rows as text, with `value` where it is at hand.

    Returns:
        The three as `corrections.contents` takes them; rows whose analyte has no column are left
        out.
    """
    results = rows.filter(pl.col(ANALYTE).is_in(list(LONG_ANALYTES)))
    is_it = {name: pl.col(ANALYTE) == name for name in LONG_ANALYTES}
    wide = results.with_columns(
        *(pl.when(is_it[name]).then("result").alias(name) for name in ANALYTES),
        *(pl.when(is_it[name]).then("result_below").alias(f"{name}_below") for name in ANALYTES),
        pl.when(is_it["temperature_c"])
        .then("result")
        .otherwise("temperature_c")
        .alias("temperature_c"),
    )
    analytes = results.select("source_line", ANALYTE)
    reasons = (
        parsed_reasons.join(analytes.rename({"source_line": "line"}), on="line")
        .with_columns(
            column=pl.when(pl.col("column").is_in(list(_OF_RESULT)))
            .then(ANALYTE)
            .otherwise("column")
        )
        .drop(ANALYTE)
    )
    value = pl.col("value") if "value" in texts.columns else pl.lit(None, pl.String)
    cells = texts.drop(ANALYTE, strict=False).join(analytes, on="source_line")
    cells = cells.with_columns(
        pl.when(pl.col(ANALYTE) == name)
        .then(value)
        .otherwise(pl.col(name) if name in cells.columns else pl.lit(None, pl.String))
        .alias(name)
        for name in LONG_ANALYTES
    )
    return wide, reasons, cells


def as_results(rows: pl.DataFrame, analytes: Mapping[int, str]) -> pl.DataFrame:
    """Typed rows of the feed as results again.

    Args:
        analytes: by `source_line`, the analyte that a row had; that of another one where its value
            stands under another column now.
    """
    known = pl.DataFrame(
        {"source_line": list(analytes), "_was": list(analytes.values())},
        schema={"source_line": pl.Int64, "_was": pl.String},
    )
    there = [
        pl.when(pl.col(name).is_not_null() | pl.col(f"{name}_below").is_not_null()).then(
            pl.lit(name)
        )
        for name in ANALYTES
    ]
    numbered = rows.join(known, on="source_line", how="left", maintain_order="left").with_columns(
        pl.coalesce(*there, "_was").alias(ANALYTE)
    )
    is_warmth = pl.col(ANALYTE) == "temperature_c"
    result: pl.Expr = pl.when(is_warmth).then("temperature_c")
    below: pl.Expr = pl.lit(None, pl.Float64)
    for name in ANALYTES:
        is_it = pl.col(ANALYTE) == name
        result = pl.when(is_it).then(name).otherwise(result)
        below = pl.when(is_it).then(f"{name}_below").otherwise(below)
    return numbered.with_columns(
        result=result, result_below=below, unread=pl.lit(None, pl.String)
    ).drop("_was", *ANALYTES, *(f"{name}_below" for name in ANALYTES))


def analytes_of(cells: Mapping[str, str]) -> list[str]:
    """The analytes of which a row's cells hold a value."""
    return [name for name in ANALYTES if cells.get(name)]
