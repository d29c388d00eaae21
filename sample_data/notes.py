"""What technicians write on a call, and which cause they book.

Belongs here: the words of notes, and causes that are booked lazily or wrongly. Does not belong
here: what failed (`failures`), or what the desk makes of it.

A note tells a symptom, what was found, something beside the point, or several of these. Which
words it takes depends on what really failed, whatever was booked.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import polars as pl

from sample_data.columns import words
from sample_data.days import NONE
from sample_data.draws import Array, Draws
from sample_data.editions import TABLES
from sample_data.failures import repair_kinds

NOTED, CARE_NOTED = 0.52, 0.06
VAGUE = 0.20  # notes that are beside the point altogether
ASTRAY = 0.06  # symptoms that belong to another group of causes
NOT_BOOKED, LAZY, MISTAKEN = 0.05, 0.03, 0.035
CATCH_ALL = "OTHER"
_CARE = ("done as planned", "log sheet left at the unit", "owner present", "ok, no leaks")
_SHORT = (("element", "elem"), ("replaced", "repl"), ("water", "wtr"), ("and", "&"))


def booked(
    cause: Array, known: Array, left_out: Array, draws: Draws
) -> tuple[pl.Series, pl.Series]:
    """What is booked as the cause of each call, and what kind of mistake that is, if any.

    Args:
        cause: what failed, as a position in tables/repairs.csv; NONE where nothing did.
        known: whether the desk knows the cause yet.
        left_out: whether nothing is booked though it is known.
        draws: the stream of the booking.

    Returns:
        The cause as booked, null for none, and `none`, `lazy` or `wrong`; null where it is right.
    """
    n, names = len(cause), repair_kinds()["cause"].to_list()
    kind = draws.uniform(n)
    mistaken = _mistaken()[cause]
    lazy, wrong = kind < LAZY, (kind >= 1 - MISTAKEN) & (mistaken != NONE)
    at = np.where(lazy, len(names), np.where(wrong, mistaken, cause))
    at = np.where(known & ~left_out, at, NONE)
    mistake = np.select([~known, left_out, lazy, wrong], [NONE, 0, 1, 2], NONE)
    return words(at, [*names, CATCH_ALL]), words(mistake, ["none", "lazy", "wrong"])


def notes(cause: Array, draws: Draws) -> pl.Series:
    """The note of each call: of what failed, or of upkeep where `cause` is NONE; mostly null."""
    n, table = len(cause), _texts()
    repair = cause != NONE
    noted = draws.chance(np.where(repair, NOTED, CARE_NOTED), n)
    of = np.where(repair, cause, 0)
    symptom_of = np.where(draws.chance(ASTRAY, n), draws.whole(0, len(table.symptoms) - 1, n), of)
    shape = draws.uniform(n)
    vague = shape < VAGUE
    symptom = ~vague & (shape < 0.72)
    finding = ~vague & (shape > 0.36)
    filler = vague | draws.chance(0.22, n)
    parts = pl.DataFrame(
        {
            "symptom": _one(table.symptoms, symptom_of, repair & noted & symptom, draws),
            "finding": _one(table.findings, of, repair & noted & finding, draws),
            "filler": _one((table.fillers,), of * 0, repair & noted & filler, draws),
            "care": _one((_CARE,), of * 0, ~repair & noted, draws),
            "break": words(draws.pick([6, 3, 1], n), [". ", "; ", "\n"]),
            "short": pl.Series(draws.chance(0.12, n)),
        }
    )
    told = pl.lit(None, pl.String)
    for name in ("symptom", "finding", "filler", "care"):
        told = pl.coalesce(told + pl.col("break") + pl.col(name), told, name)
    short = told
    for word, abbreviated in _SHORT:
        short = short.str.replace_all(rf"\b{word}\b", abbreviated)
    return parts.select(pl.when("short").then(short).otherwise(told).alias("notes")).to_series()


class _Texts:
    """The sentences of tables/notes.csv, by position of the cause."""

    def __init__(self) -> None:
        table = pl.read_csv((TABLES / "notes.csv").read_bytes(), infer_schema=False)
        said = dict(table.group_by("kind", "of").agg("text").select("of", "text").iter_rows())
        kinds = repair_kinds()
        self.symptoms = tuple(tuple(said[group]) for group in kinds["group"])
        self.findings = tuple(tuple(said[cause]) for cause in kinds["cause"])
        self.fillers = tuple(table.filter(pl.col("kind") == "filler")["text"])


@cache
def _texts() -> _Texts:
    return _Texts()


@cache
def _mistaken() -> Array:
    """For each cause the position of the one that is booked by mistake, else NONE."""
    table = pl.read_csv((TABLES / "mistaken.csv").read_bytes(), infer_schema=False)
    names = repair_kinds()["cause"].to_list()
    found = np.full(len(names), NONE)
    for cause, coded_as in table.iter_rows():
        found[names.index(cause)] = names.index(coded_as)
    return found


def _one(choices: tuple[tuple[str, ...], ...], of: Array, wanted: Array, draws: Draws) -> pl.Series:
    """One of the sentences of each call's row of choices; null where none is wanted."""
    count = np.array([len(some) for some in choices])
    start = np.concatenate([[0], np.cumsum(count)[:-1]])
    at = start[of] + np.floor(draws.uniform(len(of)) * count[of]).astype(np.int64)
    return words(np.where(wanted, at, NONE), [text for some in choices for text in some])
