"""The calls with all that is known of them before anything is learned.

Belongs here: putting words, phrases, features and labels side by side. Does not belong here: what
follows from them (`study`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipelines.assist.causes.features import READING, Features, features_of
from pipelines.assist.causes.words import phrases_in, tokens_of
from schemas import codes


@dataclass(frozen=True)
class KnownCalls:
    """The calls with all that is known of them, in the order of their numbers."""

    calls: pl.DataFrame
    features: Features
    hits: pl.DataFrame  # phrases found
    phrase_class: np.ndarray  # position in codes.CAUSE_CLASSES, -1 for none
    label: np.ndarray  # the same, of the class as booked
    judged: np.ndarray  # whether anything but start-up readings speaks of the call


def known_calls(calls: pl.DataFrame, phrases: pl.DataFrame) -> KnownCalls:
    """What is known of calls in the shape of `calls.CALLS`, which keep their order."""
    tokens = tokens_of(calls["notes"])
    hits = phrases_in(tokens, phrases)
    features = features_of(calls, tokens, hits)
    position = {name: at for at, name in enumerate(codes.CAUSE_CLASSES)}
    label = calls["cause_class"].replace_strict(position, default=-1, return_dtype=pl.Int64)
    phrase_class = np.full(calls.height, -1)
    best = (
        hits.group_by("row", "cause_class")
        .agg(pl.col("weight").sum().round(9))
        .filter(pl.col("weight") == pl.col("weight").max().over("row"))
        .filter(pl.len().over("row") == 1)  # two that weigh the same point nowhere
    )
    at = best["cause_class"].replace_strict(position, return_dtype=pl.Int64)
    phrase_class[best["row"].to_numpy()] = at.to_numpy()
    sorts = features.entries.join(features.names, on="column").select("row", "sort")
    judged = np.zeros(calls.height, dtype=bool)
    judged[sorts.filter(pl.col("sort") != READING)["row"].to_numpy()] = True
    return KnownCalls(calls, features, hits, phrase_class, label.to_numpy(), judged)
