"""Figure 7: which failures become more frequent.

Belongs here: monthly counts of every family and cause class beside what its own past leads to
expect, and their CUSUM. Does not belong here: the chart's arithmetic (`cusum`), runs of alarms
(`alarms`).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field import cusum
from pipelines.field.context import FieldContext
from pipelines.field.slices import (
    ALL,
    FEWEST_FAILURES,
    FEWEST_UNITS,
    LABELS,
    NO_EXPOSURE,
)
from pipelines.field.watched_pairs import Fleet, completeness, silent_families, watched_pairs

BY = "family,cause_class"
COLUMNS = (
    "month",
    "failures",
    "expected",
    "completeness",
    "cusum",
    "reference_value",
    "decision_value",
    "average_run_length",
    "false_alarms_a_year",
    "alarm",
)
# The months that a rate rests on: they end so many months before the one that is charted.
WINDOW_MONTHS, FEWEST_MONTHS, GAP_MONTHS = 24, 12, 3
LEAST_COMPLETE = 0.5
_TOO_NEW = "cannot be estimated, because 12 months that end 3 months before are not watched yet"
_TOO_FRESH = "not charted, because fewer than half of its failures have a cause by now"
_HALF = "no failure in those months: half a one is assumed there"
_KINDS = {
    **dict.fromkeys(("family", "cause_class", "note"), pl.String()),
    "month": pl.Date(),
    "failures": pl.Int64(),
    **dict.fromkeys(COLUMNS[2:9], pl.Float64()),
    "alarm": pl.Boolean(),
    "thin": pl.Boolean(),
    "rise": pl.Int64(),
}


class Path(NamedTuple):
    """The charts of all pairs (pairs x months); NaN where a month is not charted.

    rise: how many months ago, at each, the sum last stood at 0. lengths: run lengths in control.
    """

    expected: np.ndarray
    sums: np.ndarray
    reference: np.ndarray
    decision: np.ndarray
    alarm: np.ndarray
    window: np.ndarray
    enough: np.ndarray
    rise: np.ndarray
    lengths: np.ndarray


def warnings(context: FieldContext) -> pl.DataFrame:
    """Monthly Poisson CUSUM of every family and cause class, for complete calendar months.

    Class `unknown` is not watched. `expected` is the sum over age bands of the month's unit-years
    times the pair's rate in the band over the 24 months (12 at least) that end 3 months before,
    months in alarm left out, times `completeness`: the share of failures of so many days ago that
    have a cause by now. The decision value is the smallest whose in-control run length is at least
    12 times the number of pairs. An alarm begins where the sum rises to it or beyond, and lasts
    while it stays there; a sum that a falling decision value has overtaken is no news. What is
    expected rests on few failures: charts are designed, and run lengths told, for a rate that is
    known as well as its failures tell it (`cusum.uncertain_design`).
    """
    charted = charted_months(context)
    words = {"by": pl.lit(BY), **{name: pl.lit(ALL) for name in LABELS[1:]}}
    words |= {name: pl.col(name) for name in ("family", "cause_class")}
    return charted.select(
        *(word.alias(name) for name, word in words.items()), *COLUMNS, "thin", "note"
    )


def charted_months(context: FieldContext) -> pl.DataFrame:
    """The months of all pairs, made once; `rise` tells how many months ago the sum left 0."""
    return context.once("warnings", lambda: _charted(context))


def _charted(context: FieldContext) -> pl.DataFrame:
    fleet = watched_pairs(context)
    complete = completeness(context, fleet.months)
    target = 12 * max(len(fleet.pairs), 1)
    path = chart(fleet.days, fleet.failures, complete, target)
    lengths = path.lengths
    with np.errstate(divide="ignore"):
        yearly = 12 * np.nansum(np.where(np.isfinite(path.expected), 1 / lengths, np.nan), axis=0)
    rows = []
    for place, (family, cause_class) in enumerate(fleet.pairs):
        labels = {"family": family, "cause_class": cause_class}
        own = [
            labels | _row(fleet, path, complete, lengths, yearly, place, month)
            for month in range(len(fleet.months) - 1)
            if path.enough[place, month]
        ]
        rows += own or [labels | _uncharted(fleet, place)]
    rows += [
        labels
        | {"month": fleet.months[-2], "failures": 0, "alarm": False, "thin": True, "note": why}
        for labels, why in silent_families(context, fleet)
    ]
    return pl.DataFrame(rows, schema=_KINDS).sort("family", "cause_class", "month")


def _row(
    fleet: Fleet,
    path: Path,
    complete: np.ndarray,
    lengths: np.ndarray,
    yearly: np.ndarray,
    place: int,
    month: int,
) -> dict[str, object]:
    known = bool(np.isfinite(path.expected[place, month]))
    count = int(fleet.failures[place, :, month].sum())
    at = (place, month)
    few = path.window[at] + count < FEWEST_FAILURES or fleet.units[place] < FEWEST_UNITS
    figures = {
        "expected": path.expected[at],
        "cusum": path.sums[at],
        "reference_value": path.reference[at],
        "decision_value": path.decision[at],
        "average_run_length": lengths[at],
        "false_alarms_a_year": yearly[month],
    }
    note = _HALF if known and path.window[at] == 0 else None
    if not known:
        note = _TOO_FRESH if complete[month] < LEAST_COMPLETE else NO_EXPOSURE
    return {
        "month": fleet.months[month],
        "failures": count,
        "completeness": float(complete[month]),
        **{name: float(value) if known else None for name, value in figures.items()},
        "alarm": bool(path.alarm[at]),
        "rise": int(path.rise[at]),
        "thin": bool(few),
        "note": note,
    }


def _uncharted(fleet: Fleet, place: int) -> dict[str, object]:
    count = int(fleet.failures[place, :, -1].sum()) if len(fleet.months) > 1 else 0
    last = fleet.months[-2] if len(fleet.months) > 1 else fleet.months[-1]
    return {"month": last, "failures": count, "alarm": False, "thin": True, "note": _TOO_NEW}


def chart(days: np.ndarray, failures: np.ndarray, complete: np.ndarray, target: float) -> Path:
    """The charts of all pairs, month by month.

    Args:
        days, failures: pairs x bands x months.
        complete: by month.
        target: the least in-control run length of each pair, in months.
    """
    pairs, _, months = days.shape
    nothing = np.full((pairs, months), np.nan)
    zero = np.zeros((pairs, months))
    path = Path(
        expected=nothing.copy(),
        sums=nothing.copy(),
        reference=nothing.copy(),
        decision=nothing.copy(),
        alarm=zero.copy(),
        window=zero.copy(),
        enough=zero.copy(),
        rise=zero.copy(),
        lengths=nothing.copy(),
    )
    counts = failures.sum(axis=1)
    watched = days.sum(axis=1) > 0
    running, alarmed = np.zeros(pairs), np.zeros((pairs, months), bool)
    stood_at_0 = np.zeros(pairs, int)  # the last month at whose end the sum did
    for month in range(months):
        stood_at_0 = np.where(running > 0, stood_at_0, month - 1)
        first, last = max(0, month - GAP_MONTHS - WINDOW_MONTHS), month - GAP_MONTHS
        if last <= 0:
            continue
        path.enough[:, month] = watched[:, first:last].sum(axis=1) >= FEWEST_MONTHS
        mean, behind = _expected(days, failures, alarmed, (first, last), month)
        mean *= complete[month]
        path.window[:, month] = behind
        usable = (path.enough[:, month] > 0) & (mean > 0) & (complete[month] >= LEAST_COMPLETE)
        k, h, path.lengths[:, month] = _designs(mean, behind, usable, target)
        raised = np.maximum(0, running + counts[:, month] - np.where(usable, k, 0))
        running = np.where(usable, raised, running)
        before = alarmed[:, month - 1] if month else np.zeros(pairs, bool)
        alarmed[:, month] = usable & (running >= h) & ((counts[:, month] > k) | before)
        path.expected[:, month] = np.where(usable, mean, np.nan)
        path.sums[:, month] = np.where(usable, running, np.nan)
        path.reference[:, month], path.decision[:, month] = k, h
        path.rise[:, month] = np.where(running > 0, month - 1 - stood_at_0, 0)
    return path._replace(alarm=alarmed, enough=path.enough > 0)


def _designs(
    mean: np.ndarray, behind: np.ndarray, usable: np.ndarray, target: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Reference value, decision value and run length of each pair; NaN where it is not charted.

    behind: failures that each mean rests on, which leave it uncertain.
    """
    designs = np.full((len(mean), 3), np.nan)
    for place in np.flatnonzero(usable):
        designs[place] = cusum.uncertain_design(float(mean[place]), int(behind[place]), target)
    return designs[:, 0], designs[:, 1], designs[:, 2]


def _expected(
    days: np.ndarray,
    failures: np.ndarray,
    alarmed: np.ndarray,
    window: tuple[int, int],
    month: int,
) -> tuple[np.ndarray, np.ndarray]:
    """What a month's days lead to expect by the rates of the window, and the failures behind it.

    Months in alarm count neither in failures nor in days. A band that nobody was in takes the rate
    of all bands; where there was no failure at all, half a one is assumed.
    """
    first, last = window
    quiet = ~alarmed[:, None, first:last]
    under = (days[:, :, first:last] * quiet).sum(axis=2)
    happened = (failures[:, :, first:last] * quiet).sum(axis=2)
    whole, behind = under.sum(axis=1), happened.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        pooled = np.where(whole > 0, np.maximum(behind, 0.5) / whole, 0.0)[:, None]
        own = np.where(under > 0, happened / under, pooled)
    rate = np.where(behind[:, None] > 0, own, pooled)
    return (rate * days[:, :, month]).sum(axis=1), behind
