"""What speaks for a suggestion, in words.

Belongs here: the features with the most weight in one log-odds, named for people. Does not belong
here: which class is suggested (`study`).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from pipelines.assist.causes.features import PART, PHRASE, READING, WORD, Features
from schemas import codes
from schemas.columns import TEXTS

MOST, LEAST_SHOWN = 5, 0.05
_READINGS = {
    "flowing_pressure_psi": "flowing pressure",
    "static_pressure_psi": "static pressure",
    "supply_temperature_f": "supply temperature",
    "gas_pressure_in_wc": "gas pressure",
    "drain_air_gap_in": "drain air gap",
    "side_clearance_in": "side clearance",
    "level": "level",
    "under_hood": "hood",
    "water_lines": "water lines",
}


def spoken(
    features: Features,
    hits: pl.DataFrame,
    weights: np.ndarray,
    rows: np.ndarray,
    judge: np.ndarray,
    place: np.ndarray,
    classes: np.ndarray,
) -> pl.Series:
    """For each row the features that speak most for its class, such as `white crust +1.84`.

    The number is what the feature adds to the class's log-odds against the average class.

    Args:
        features: of all calls.
        hits: the phrases found: row, phrase, cause_class.
        weights: (judge, class, feature).
        rows: positions of calls.
        judge: which judge each of them has.
        place: the class that is suggested, as a position in `classes`.
        classes: positions in codes.CAUSE_CLASSES.
    """
    wanted = pl.DataFrame(
        {"row": rows, "judge": judge, "place": place},
        schema={"row": pl.UInt32, "judge": pl.Int64, "place": pl.Int64},
    )
    seen = features.entries.join(wanted, on="row")
    of = tuple(seen[name].to_numpy() for name in ("judge", "place", "column"))
    # A ridge makes the weights of a feature add up to nothing over the classes, but for rounding.
    gain = seen["value"].to_numpy() * (weights[of] - weights.mean(axis=1)[of[0], of[2]])
    names = pl.Series([codes.CAUSE_CLASSES[position] for position in classes], dtype=pl.String)
    phrases = hits.group_by("row", "cause_class").agg(pl.col("phrase").sort().str.join("” “"))
    words = (
        seen.select("row", "column", cause_class=names.gather(seen["place"]), gain=gain)
        .filter(pl.col("gain") >= LEAST_SHOWN)
        .join(features.names, on="column")
        .join(phrases, on=["row", "cause_class"], how="left")
        .with_columns(_spoken_name().alias("name"))
        .sort("row", "gain", "name", descending=[False, True, False])
        .group_by("row", maintain_order=True)
        .head(MOST)
        .group_by("row", maintain_order=True)
        .agg(words=pl.format("{} +{}", "name", pl.col("gain").cast(pl.Decimal(10, 2))))
    )
    whole = wanted.join(words, on="row", how="left", maintain_order="left")["words"]
    return whole.fill_null(pl.Series([[]], dtype=TEXTS).first())


def said(
    features: Features,
    weights: np.ndarray,
    judge: np.ndarray,
    one: np.ndarray,
    other: np.ndarray | None = None,
    sorts: Sequence[str] = (WORD, PART, READING, PHRASE),
) -> np.ndarray:
    """By how much features speak for one class rather than another, in log-odds.

    `judge`, `one` and `other` are of each call: which judge, and positions of two classes; without
    `other` the average class. `sorts` are the sorts of features that are asked.
    """
    columns = features.names.filter(pl.col("sort").is_in(sorts))["column"]
    seen = features.entries.filter(pl.col("column").is_in(columns.implode()))
    row, column = seen["row"].to_numpy(), seen["column"].to_numpy()
    against = (
        weights.mean(axis=1)[judge[row], column]
        if other is None
        else weights[judge[row], other[row], column]
    )
    gain = seen["value"].to_numpy() * (weights[judge[row], one[row], column] - against)
    return np.bincount(row, weights=gain, minlength=features.rows)


def _spoken_name() -> pl.Expr:
    sort, name = pl.col("sort"), pl.col("name")
    reading = name.replace_strict(_READINGS, default=name)
    return (
        pl.when(sort == PART)
        .then(pl.format("part {}", name))
        .when(sort == READING)
        .then(pl.format("start-up {} outside the terms", reading))
        .when(sort == PHRASE)
        .then(pl.format("phrase “{}”", pl.coalesce("phrase", "name")))
        .otherwise(name)
    )
