"""How far suggestions can be trusted, on calls that were held out.

Belongs here: precision, recall, calibration and confusion. Does not belong here: predicting
(`model`).

Brier score: the mean over calls of the squared errors of all classes' probabilities, from 0 to 2
(Brier 1950, "Verification of forecasts expressed in terms of probability"); in the row of one
class that class's squared errors alone. Expected calibration error: the gap between mean
probability and share right of the first class, averaged over tenths of the scale with their calls
as weights (Naeini, Cooper & Hauskrecht 2015, "Obtaining well calibrated probabilities using
Bayesian binning"). Limits are exact binomial ones.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from pipelines.field.peers import clopper_pearson

BINS = 10


def brier_score(probability: np.ndarray, label: np.ndarray) -> float:
    """The mean of the squared errors, summed over the classes; `label` is each call's class."""
    errors = probability.copy()
    errors[np.arange(len(label)), label] -= 1
    return float((errors**2).sum(axis=1).mean())


def reliability(probability: np.ndarray, label: np.ndarray) -> pl.DataFrame:
    """The table of `schemas.causes.CauseReliability`: the first class, by tenths."""
    first = probability.argmax(axis=1)
    sure = probability[np.arange(len(first)), first]
    tenth = np.clip(np.ceil(sure * BINS).astype(int) - 1, 0, BINS - 1)
    calls = np.bincount(tenth, minlength=BINS)
    right = np.bincount(tenth, weights=first == label, minlength=BINS).astype(int)
    low, high = clopper_pearson(right, calls)
    with np.errstate(invalid="ignore"):
        mean = np.bincount(tenth, weights=sure, minlength=BINS) / calls
        share = right / calls
    edges = np.arange(BINS + 1) / BINS
    return pl.DataFrame(
        {
            "probability_from": edges[:-1],
            "probability_to": edges[1:],
            "calls": calls,
            "right": right,
            "mean_probability": mean,
            "share_right": share,
            "low": low,
            "high": high,
        }
    ).fill_nan(None)


def expected_calibration_error(bins: pl.DataFrame) -> float:
    """From the table of `reliability`."""
    gap = (pl.col("mean_probability") - pl.col("share_right")).abs() * pl.col("calls")
    return float(bins.select(gap.sum() / pl.col("calls").sum()).item())


def confusion(label: np.ndarray, first: np.ndarray, classes: Sequence[str]) -> pl.DataFrame:
    """The table of `schemas.causes.CauseConfusion`: every pair of classes, recorded first."""
    size = len(classes)
    counts = np.bincount(label * size + first, minlength=size * size).reshape(size, size)
    with np.errstate(invalid="ignore"):
        share = counts / counts.sum(axis=1, keepdims=True)
    return pl.DataFrame(
        {
            "recorded_class": np.repeat(classes, size),
            "suggested_class": np.tile(classes, size),
            "calls": counts.ravel(),
            "share_of_recorded": share.ravel(),
        }
    ).fill_nan(None)


def by_class(
    probability: np.ndarray, label: np.ndarray, classes: Sequence[str], least: float
) -> pl.DataFrame:
    """One row for all calls and one a class: counts, shares with limits, errors.

    Args:
        probability: (call, class).
        label: each call's class.
        classes: their names.
        least: the probability from which the first class is a suggestion.
    """
    size = len(classes)
    first = probability.argmax(axis=1)
    offered = probability[np.arange(len(first)), first] >= least
    hit = first == label

    def counted(of: np.ndarray, which: np.ndarray) -> np.ndarray:
        each = np.bincount(of[which], minlength=size)
        return np.concatenate([[which.sum()], each])

    every = np.ones(len(label), dtype=bool)
    calls, suggested, right = counted(label, every), counted(first, every), counted(first, hit)
    table = {"cause_class": ["all", *classes], "calls": calls, "suggested": suggested}
    table |= {"right": right}
    for name, among in (("precision", suggested), ("recall", calls)):
        low, high = clopper_pearson(right, among)
        with np.errstate(invalid="ignore"):
            table |= {name: right / among, f"{name}_low": low, f"{name}_high": high}
    table |= {"offered": counted(first, offered), "offered_right": counted(first, offered & hit)}
    is_class = np.eye(size)[label]
    each = ((probability - is_class) ** 2).mean(axis=0)
    table |= {"brier_score": np.concatenate([[brier_score(probability, label)], each])}
    return pl.DataFrame(table).fill_nan(None)
