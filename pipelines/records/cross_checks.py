"""Checks of rows against reference files and against other rows of their feed.

Belongs here: unknown models, products and causes, and claim numbers. Does not belong here: checks
that one row answers alone (`schemas.feeds`), which rows win (`accounting`).
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipelines.records.reasons import REASON_SCHEMA, no_reasons, reasons
from pipelines.records.repairs import is_repair

# Where a row stands: the part is that of a row that was split.
PLACE = ("source_file", "source_sheet", "source_line", "source_part")
RANK = "_rank"  # of a row among the versions of its key: the greatest wins
# By feed: the column that names a code, the list of `References` it is looked up in, and the rule.
_CODES = {
    "units": ("model", "models", "unknown_model"),
    "treatment_purchases": ("product", "products", "unknown_product"),
    "service_calls": ("cause", "causes", "unknown_cause"),
}


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
    failures = [no_placed_reasons()]
    if feed in _CODES:
        column, known, rule = _CODES[feed]
        unknown = ~pl.col(column).is_in(getattr(references, known).implode())
        failures.append(reasons(_failing(rows, column, unknown), column, column, rule))
    if feed == "service_calls":
        failures.append(_claims_elsewhere(rows))
    return pl.concat(failures)


def looked_up(feed: str) -> list[str]:
    """The columns that `reference_failures` looks at, beside the place of a row."""
    coded = [_CODES[feed][0]] if feed in _CODES else []
    return [*coded, "claim", "kind"] if feed == "service_calls" else coded


def no_placed_reasons() -> pl.DataFrame:
    """An empty frame of reasons with all of their place."""
    kinds = {"file": pl.String, "sheet": pl.String, "line": pl.Int64, "part": pl.Int64}
    return pl.DataFrame(schema={**kinds, **REASON_SCHEMA})


def reasons_besides(feed: str, rows: pl.DataFrame) -> pl.DataFrame:
    """Further reasons of rows that are set aside for a value that could not be read.

    Whether a code is known depends on the reference files, which may change while the row does
    not: so every code is told of as unknown, and `without_known` takes back those that are known.

    Args:
        feed: the feed.
        rows: those rows as far as they were typed, with `source_line`.
    """
    failures = [no_reasons()]
    if feed in _CODES:
        column, _, rule = _CODES[feed]
        coded = rows.filter(pl.col(column).is_not_null())
        failures.append(reasons(coded, column, column, rule))
    if feed == "service_calls":
        failures.append(_claims_elsewhere(rows))
    return pl.concat(failures)


def without_known(feed: str, all_reasons: pl.DataFrame, references: References) -> pl.DataFrame:
    """The reasons without those of `reasons_besides` whose code the reference files have."""
    if feed not in _CODES:
        return all_reasons
    _, known, rule = _CODES[feed]
    is_known = pl.col("value").is_in(getattr(references, known).implode())
    return all_reasons.filter(~((pl.col("rule") == rule) & is_known))


def _claims_elsewhere(calls: pl.DataFrame) -> pl.DataFrame:
    """The reasons of claim numbers on calls that are no repair."""
    wrong = pl.col("claim").is_not_null() & ~is_repair()
    return reasons(_failing(calls, "claim", wrong), "claim", "claim", "claim_on_repair")


def claims_held_twice(calls: pl.DataFrame, left: pl.Series) -> pl.DataFrame:
    """The repair calls whose claim number stands on an earlier one (by opened_on, then call).

    `left` tells which of the calls still count.
    """
    held = calls.select(*PLACE, "claim", "opened_on", "call", RANK).filter(
        left & calls["claim"].is_not_null()
    )
    place = pl.struct("opened_on", "call").rank("ordinal").over("claim")
    return held.filter(pl.col("claim").len().over("claim") > 1).filter(place > 1)


def _failing(rows: pl.DataFrame, column: str, failing: pl.Expr) -> pl.DataFrame:
    places = [name for name in PLACE if name in rows.columns]
    return rows.filter(failing).select(*places, column)
