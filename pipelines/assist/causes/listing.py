"""Suggestions as rows, and those that phrases alone make.

Belongs here: the shape of a suggestion, and how often phrases are right. Does not belong here: the
model's suggestions (`study`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipelines.assist.causes.case import Case
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


def phrase_counts(case: Case) -> PhraseCounts:
    """Counted over all calls with a class."""
    both = (case.label >= 0) & (case.phrase_class >= 0)
    size = len(codes.CAUSE_CLASSES)
    calls = np.bincount(case.phrase_class[both], minlength=size)
    right = both & (case.phrase_class == case.label)
    return PhraseCounts(calls, np.bincount(case.phrase_class[right], minlength=size))


def by_phrases(case: Case, free: np.ndarray, hits: PhraseCounts) -> pl.DataFrame:
    """What phrases alone suggest for calls without a cause, among those that are free."""
    rows = np.flatnonzero(free & (case.label < 0) & (case.phrase_class >= 0))
    suggested = case.phrase_class[rows]
    named = pl.DataFrame({"row": rows, "cause_class": names_of(suggested)}).cast({"row": pl.UInt32})
    words = (
        named.join(case.hits, on=["row", "cause_class"])
        .sort("row", "weight", "phrase", descending=[False, True, False])
        .group_by("row", maintain_order=True)
        .agg(words=pl.format("“{}” of weight {}", "phrase", "weight"))
    )
    share = hits.share[suggested]
    few = f"Phrases alone; with fewer than {LEAST_PHRASE_CALLS} booked calls unmeasured."
    found = hits.calls[suggested].astype(str)
    measured = pl.Series(found) + " booked calls with such phrases tell how often they are right."
    return listed(
        case,
        rows,
        suggested,
        probability=share,
        recorded_probability=np.full(len(rows), np.nan),
        source=np.full(len(rows), "phrases"),
        words=named.join(words, on="row", how="left", maintain_order="left")["words"],
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
    case: Case, rows: np.ndarray, suggested: np.ndarray, **columns: np.ndarray | pl.Series
) -> pl.DataFrame:
    """Rows of `schemas.causes.CauseSuggestions`."""
    schema = polars_schema(CAUSE_TABLES["cause_suggestions"])
    kind = pl.when(pl.col("cause_class").is_not_null()).then(pl.lit("notes say otherwise"))
    kind = kind.when(pl.col("cause").is_null()).then(pl.lit("no cause"))
    told = pl.DataFrame({"suggested_class": names_of(suggested), **columns})
    listed = case.calls[rows].select(
        "call",
        "claim",
        "serial",
        "opened_on",
        kind=kind.otherwise(pl.lit("unknown cause")),
        recorded_cause="cause",
        recorded_class="cause_class",
    )
    whole = pl.concat([listed, told], how="horizontal").with_columns(
        pl.col("probability", "recorded_probability").cast(pl.Float64).fill_nan(None).round(4)
    )
    return whole.select(pl.col(name).cast(kind) for name, kind in schema.items())
