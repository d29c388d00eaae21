"""Suggestions as rows, and those that phrases alone make.

Belongs here: the shape of a suggestion, and how often phrases are right. Does not belong here: the
model's suggestions (`study`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipelines.assist.causes.known_calls import KnownCalls
from schemas import codes
from schemas.causes import CAUSE_TABLES
from schemas.columns import polars_schema

LEAST_PHRASE_CALLS = 10  # with fewer booked calls nobody knows how often phrases are right


@dataclass(frozen=True)
class PhraseCounts:
    """For each class the booked calls whose phrases point to it, and those booked so."""

    calls: np.ndarray
    right: np.ndarray

    @property
    def share(self) -> np.ndarray:
        """How often phrases are right (Jeffreys' estimate); NaN where too few calls tell."""
        with np.errstate(invalid="ignore"):
            share = (self.right + 0.5) / (self.calls + 1)
        return np.where(self.calls >= LEAST_PHRASE_CALLS, share, np.nan)


def phrase_counts(known: KnownCalls) -> PhraseCounts:
    """Counted over all calls with a class."""
    both = (known.label >= 0) & (known.phrase_class >= 0)
    size = len(codes.CAUSE_CLASSES)
    calls = np.bincount(known.phrase_class[both], minlength=size)
    right = both & (known.phrase_class == known.label)
    return PhraseCounts(calls, np.bincount(known.phrase_class[right], minlength=size))


def by_phrases(known: KnownCalls, free: np.ndarray, hits: PhraseCounts) -> pl.DataFrame:
    """What phrases alone suggest for calls without a cause, among those that are free."""
    rows = np.flatnonzero(free & (known.label < 0) & (known.phrase_class >= 0))
    suggested = known.phrase_class[rows]
    suggestions = pl.DataFrame({"row": rows, "cause_class": names_of(suggested)}).cast(
        {"row": pl.UInt32}
    )
    words = (
        suggestions.join(known.hits, on=["row", "cause_class"])
        .sort("row", "weight", "phrase", descending=[False, True, False])
        .group_by("row", maintain_order=True)
        .agg(words=pl.format("“{}” of weight {}", "phrase", "weight"))
    )
    share = hits.share[suggested]
    few = f"Phrases alone; with fewer than {LEAST_PHRASE_CALLS} booked calls unmeasured."
    counts = hits.calls[suggested].astype(str)
    measured = pl.Series(counts) + " booked calls with such phrases tell how often they are right."
    return listed(
        known,
        rows,
        suggested,
        probability=share,
        recorded_probability=np.full(len(rows), np.nan),
        source=np.full(len(rows), "phrases"),
        words=suggestions.join(words, on="row", how="left", maintain_order="left")["words"],
        note=pl.Series(np.isnan(share))
        .replace_strict({True: few}, default=None)
        .fill_null(measured),
    )


def names_of(positions: np.ndarray) -> pl.Series:
    """Names of classes; null for -1."""
    index = pl.Series(positions, dtype=pl.Int32)
    names = pl.Series(codes.CAUSE_CLASSES, dtype=pl.String)
    return names.gather(index.set(index < 0, None))


def listed(
    known: KnownCalls, rows: np.ndarray, suggested: np.ndarray, **columns: np.ndarray | pl.Series
) -> pl.DataFrame:
    """Rows of `schemas.causes.CauseSuggestions`."""
    schema = polars_schema(CAUSE_TABLES["cause_suggestions"])
    kind = (
        pl.when(pl.col("cause_class").is_not_null())
        .then(pl.lit("notes say otherwise"))
        .when(pl.col("cause").is_null())
        .then(pl.lit("no cause"))
    )
    facts = pl.DataFrame({"suggested_class": names_of(suggested), **columns})
    listed = known.calls[rows].select(
        "call",
        "claim",
        "serial",
        "opened_on",
        kind=kind.otherwise(pl.lit("unknown cause")),
        recorded_cause="cause",
        recorded_class="cause_class",
    )
    whole = pl.concat([listed, facts], how="horizontal").with_columns(
        pl.col("probability", "recorded_probability").cast(pl.Float64).fill_nan(None).round(4)
    )
    return whole.select(pl.col(name).cast(kind) for name, kind in schema.items())
