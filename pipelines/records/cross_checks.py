"""Checks of rows against reference files and against other rows of their feed.

Belongs here: unknown models, products and causes, and claim numbers. Does not belong here: checks
that one row answers alone (`schemas.feeds`), which rows win (`accounting`).
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipelines.records.reasons import REASON_SCHEMA, reasons

RANK = "_rank"  # of a row among the versions of its key: the greatest wins
_REPAIR = "repair"


@dataclass(frozen=True)
class References:
    """The codes of the reference files that rows may name."""

    models: pl.Series
    products: pl.Series
    causes: pl.Series

    @classmethod
    def of(cls, models: pl.DataFrame, treatments: pl.DataFrame, causes: pl.DataFrame) -> References:
        """The codes of the frames of models.csv, treatments.csv and causes.csv."""
        return cls(models["model"], treatments["product"], causes["cause"])


def reference_failures(feed: str, rows: pl.DataFrame, references: References) -> pl.DataFrame:
    """Reasons, with `file`, of rows that name what no reference file has, or claim on a non-repair.

    Args:
        feed: the feed.
        rows: its typed rows, with `source_file` and `source_line`.
        references: the known codes.
    """
    checks = {
        "units": [("model", references.models, "unknown_model")],
        "treatment_purchases": [("product", references.products, "unknown_product")],
        "service_calls": [("cause", references.causes, "unknown_cause")],
    }
    found = [pl.DataFrame(schema={"file": pl.String, **REASON_SCHEMA})]
    for column, known, rule in checks.get(feed, []):
        unknown = ~pl.col(column).is_in(known.implode())
        found.append(reasons(_failing(rows, column, unknown), column, column, rule))
    if feed == "service_calls":
        wrong = pl.col("claim").is_not_null() & (pl.col("kind") != _REPAIR)
        found.append(reasons(_failing(rows, "claim", wrong), "claim", "claim", "claim_on_repair"))
    return pl.concat(found)


def claims_held_twice(calls: pl.DataFrame, left: pl.Series) -> pl.DataFrame:
    """The repair calls whose claim number stands on an earlier one (by opened_on, then call).

    `left` tells which of the calls still count.
    """
    held = calls.select("source_file", "source_line", "claim", "opened_on", "call", RANK).filter(
        left & calls["claim"].is_not_null()
    )
    place = pl.struct("opened_on", "call").rank("ordinal").over("claim")
    return held.filter(pl.col("claim").len().over("claim") > 1).filter(place > 1)


def _failing(rows: pl.DataFrame, column: str, failing: pl.Expr) -> pl.DataFrame:
    return rows.filter(failing).select("source_file", "source_line", column)
