"""From repair calls and phrases to the tables of suggestions and of their quality.

Belongs here: the rules by which something is suggested, and the order of the work. Does not belong
here: words, features, the model or figures of quality (modules of their own).

The rules. A call without a cause, or with a catch-all, gets the model's first class where that has
a probability of `LEAST_PROBABILITY` or more and what is on the call speaks for it by `LEAST_SAID`
or more; else the class of its phrases, if they point to one. A call with a cause is listed for a
second look where the model that has not seen it gives another class `OTHERWISE_LEAST` or more and
the booked one `BOOKED_MOST` or less, and the words and phrases of its notes alone speak for the
other one rather than the booked one by `LEAST_SAID` or more. Nothing here reaches a decision.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipelines.assist.causes import quality
from pipelines.assist.causes.features import PHRASE, WORD
from pipelines.assist.causes.folds import chosen, fold_of
from pipelines.assist.causes.known_calls import KnownCalls, known_calls
from pipelines.assist.causes.listing import (
    PhraseCounts,
    by_phrases,
    listed,
    names_of,
    phrase_counts,
)
from pipelines.assist.causes.model import Judges, train
from pipelines.assist.causes.spoken import said, spoken
from schemas import codes
from schemas.causes import CAUSE_TABLES
from schemas.columns import polars_schema

LEAST_CODED = 30  # with fewer coded calls nothing is learned
LEAST_OF_CLASS = 5  # a class of fewer is not learned
LEAST_PROBABILITY = 0.5
OTHERWISE_LEAST, BOOKED_MOST = 0.8, 0.1
LEAST_SAID = 0.7  # log-odds: what speaks for a class makes it twice as likely


@dataclass(frozen=True)
class CauseTables:
    """The four tables of `schemas.causes`."""

    suggestions: pl.DataFrame
    quality: pl.DataFrame
    reliability: pl.DataFrame
    confusion: pl.DataFrame


def study_causes(calls: pl.DataFrame, phrases: pl.DataFrame) -> CauseTables:
    """Learns from the calls with a cause, judges all, and tells how far that can be trusted.

    Args:
        calls: in the shape of `calls.CALLS`, in any order.
        phrases: the reference file, empty where there is none.
    """
    known = known_calls(calls.sort("call"), phrases)
    learnable = known.judged & (known.label >= 0)
    counts = np.bincount(known.label[learnable], minlength=len(codes.CAUSE_CLASSES))
    classes = np.flatnonzero(counts >= LEAST_OF_CLASS)
    note = _why_not(int(learnable.sum()), len(classes))
    hits = phrase_counts(known)
    if note:
        empty = {name: pl.DataFrame(schema=polars_schema(t)) for name, t in CAUSE_TABLES.items()}
        return CauseTables(
            by_phrases(known, np.full(len(known.label), True), hits),
            _quality_without(int(learnable.sum()), note, hits),
            empty["cause_reliability"],
            empty["cause_confusion"],
        )
    place = np.full(len(codes.CAUSE_CLASSES) + 1, -1)
    place[classes] = np.arange(len(classes))
    class_place = np.where(learnable, place[known.label], -1)
    learned = np.zeros(len(class_place), dtype=bool)
    usable = np.flatnonzero(class_place >= 0)
    learned[usable[chosen(known.calls["call"][usable])]] = True
    fold = fold_of(known.calls["site"])
    matrix = known.features.matrix
    judges = train(matrix, class_place, fold, learned, len(classes))
    # A call of a class that is not learned is held out like any other, and always missed.
    judge = np.where(learnable, fold, len(judges.weights) - 1)
    probabilities = judges.probabilities(matrix, judge)
    return CauseTables(
        _suggestions(known, judges, judge, probabilities, classes, hits),
        *_quality(known, probabilities, classes, learnable, int(learned.sum()), hits),
    )


def _why_not(coded: int, classes: int) -> str | None:
    if coded < LEAST_CODED:
        return (
            f"Calls with a cause and with notes or a part: {coded}; a model needs {LEAST_CODED} "
            "or more, so only phrases suggest anything."
        )
    if classes < 2:
        return (
            f"Classes with {LEAST_OF_CLASS} calls or more: {classes}; a model needs two to tell "
            "apart, so only phrases suggest anything."
        )
    return None


def _suggestions(
    known: KnownCalls,
    judges: Judges,
    judge: np.ndarray,
    probabilities: np.ndarray,
    classes: np.ndarray,
    hits: PhraseCounts,
) -> pl.DataFrame:
    at = np.arange(len(probabilities))
    place, sure = probabilities.argmax(axis=1), probabilities.max(axis=1)
    own = np.searchsorted(classes, known.label).clip(0, len(classes) - 1)
    has_own = (known.label >= 0) & (classes[own] == known.label)
    own_sure = np.where(has_own, probabilities[at, own], np.nan)
    weights = judges.weights
    by_model = (known.label < 0) & known.judged & (sure >= LEAST_PROBABILITY)
    # What rests on how usual a class is, is no reading of the call.
    by_model &= said(known.features, weights, judge, place) >= LEAST_SAID
    otherwise = has_own & (place != own) & (sure >= OTHERWISE_LEAST) & (own_sure <= BOOKED_MOST)
    noted = said(known.features, weights, judge, place, own, (WORD, PHRASE))
    otherwise &= noted >= LEAST_SAID
    rows = np.flatnonzero(by_model | otherwise)
    words = spoken(known.features, known.hits, weights, rows, judge[rows], place[rows], classes)
    speaks = (words.list.len() > 0).to_numpy()
    by_model[rows[~speaks]] = False
    rows, words = rows[speaks], words.filter(speaks)
    suggested = classes[place[rows]]
    phrase = known.phrase_class[rows]
    first = listed(
        known,
        rows,
        suggested,
        probability=sure[rows],
        recorded_probability=own_sure[rows],
        source=np.where(phrase == suggested, "both", "model"),
        words=words,
        note=names_of(np.where((phrase >= 0) & (phrase != suggested), phrase, -1)),
    ).with_columns(note=pl.format("Its phrases point to {}.", "note"))
    return pl.concat([first, by_phrases(known, ~by_model, hits)]).sort("call")


def _quality(
    known: KnownCalls,
    probabilities: np.ndarray,
    classes: np.ndarray,
    held_out: np.ndarray,
    trained_on: int,
    hits: PhraseCounts,
) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    there = np.unique(known.label[held_out])
    probability = np.zeros((int(held_out.sum()), len(there)))
    probability[:, np.searchsorted(there, classes)] = probabilities[held_out]
    label = np.searchsorted(there, known.label[held_out])
    names = [codes.CAUSE_CLASSES[position] for position in there]
    bins = quality.reliability(probability, label)
    few = pl.col("cause_class").is_in(
        [names[at] for at in np.flatnonzero(~np.isin(there, classes))]
    )
    is_all = pl.col("cause_class") == "all"
    table = quality.by_class(probability, label, names, LEAST_PROBABILITY).with_columns(
        expected_calibration_error=pl.when(is_all).then(quality.expected_calibration_error(bins)),
        trained_on=pl.lit(trained_on),
        note=pl.when(few).then(
            pl.lit(f"Fewer than {LEAST_OF_CLASS} calls are booked so: it is never suggested.")
        ),
    )
    first = probability.argmax(axis=1)
    return (
        _with_phrases(table, hits),
        bins.cast(polars_schema(CAUSE_TABLES["cause_reliability"])),
        quality.confusion(label, first, names).cast(polars_schema(CAUSE_TABLES["cause_confusion"])),
    )


def _quality_without(coded: int, note: str, hits: PhraseCounts) -> pl.DataFrame:
    zero = dict.fromkeys(("suggested", "right", "offered", "offered_right", "trained_on"), 0)
    row = {"cause_class": "all", "calls": coded, **zero, "note": note}
    return _with_phrases(pl.DataFrame([row]), hits)


def _with_phrases(table: pl.DataFrame, hits: PhraseCounts) -> pl.DataFrame:
    """The table of quality with the counts of phrases; classes that only phrases name come last."""
    phrases = pl.DataFrame(
        {
            "cause_class": ["all", *codes.CAUSE_CLASSES],
            "phrase_calls": [hits.calls.sum(), *hits.calls],
            "phrase_right": [hits.right.sum(), *hits.right],
        }
    )
    schema = polars_schema(CAUSE_TABLES["cause_model_quality"])
    order = pl.col("cause_class").replace_strict(
        {name: at for at, name in enumerate(["all", *codes.CAUSE_CLASSES])}
    )
    known = pl.col("cause_class").is_in(table["cause_class"].implode())
    joined = (
        phrases.filter(known | (pl.col("phrase_calls") > 0))
        .join(table, on="cause_class", how="left")
        .sort(order)
    )
    counts = ["calls", "suggested", "right", "offered", "offered_right", "trained_on"]
    missing = [name for name in schema if name not in joined.columns]
    return joined.with_columns(
        *(pl.lit(None).alias(name) for name in missing),
        *(pl.col(name).fill_null(0) for name in counts),
    ).select(pl.col(name).cast(kind) for name, kind in schema.items())
