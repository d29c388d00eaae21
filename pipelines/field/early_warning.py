"""Figure 7: which failures become more frequent.

Belongs here: monthly counts beside what the trailing year leads to expect, and their CUSUM. Does
not belong here: the chart's arithmetic (`cusum`).
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import polars as pl

from pipelines.field import cusum
from pipelines.field.context import FLEET, FieldContext
from pipelines.field.exposure import months_between, unit_days
from pipelines.field.rates import grid
from pipelines.field.slices import (
    FEWEST_FAILURES,
    FEWEST_UNITS,
    NO_EXPOSURE,
    NO_FAILURES,
    Slice,
    labelled,
)

COLUMNS = (
    "month",
    "failures",
    "expected",
    "cusum",
    "reference_value",
    "decision_value",
    "average_run_length",
    "alarm",
)
_CHARTED = tuple(name for name in COLUMNS if name != "average_run_length")
TRAILING_MONTHS = 12
_NONE_COMPLETE = f"{NO_FAILURES} in a complete month"
_TOO_NEW = "cannot be estimated, because there is no full trailing year before a complete month yet"
_HALF = "no failure in the trailing year: half a one is assumed there"


def warnings(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """Monthly Poisson CUSUM of every group with a failure, for complete calendar months.

    `expected` is the failure rate of the twelve months before times the month's unit-days; the
    first year, which has none, is left out. A month alarms where its failures exceed the reference
    value, so that the sum rises, and bring it to the decision value or beyond: that value falls
    with the exposure, and a sum that has only been overtaken by it is no news. At a steady
    expectation a sum first reaches the decision value by rising, so that the run length, which is
    that of a month like this one going on for ever at the expected rate, is the same. The chart
    does not restart after an alarm. A group that cannot be charted has its latest month alone,
    with the reason.
    """
    months = _months(context)
    groups = [FLEET, *(name for name in dims if name != "cause_class")]
    at_risk = context.units.filter(pl.col("watched_days") > 0)
    spans = at_risk.select(*groups, begins="watched_from", ends="watched_until")
    exposure = unit_days(spans, groups, months)
    sizes = {row[:-1]: row[-1] for row in at_risk.group_by(groups).len().iter_rows()}
    counts = _counts(context, [FLEET, *dims], months)
    failing = set(context.failures.select(FLEET, *dims).unique().iter_rows())
    rows = []
    for key in grid(context, dims).select(FLEET, *dims).unique().sort(FLEET, *dims).iter_rows():
        labels = dict(zip((FLEET, *dims), key, strict=True))
        group = tuple(labels[name] for name in groups)
        observed = counts.get(key)
        if group not in sizes:
            rows.append(labels | _uncharted(months, 0, NO_EXPOSURE))
        elif observed is None:
            why = _NONE_COMPLETE if key in failing else NO_FAILURES
            rows.append(labels | _uncharted(months, 0, why))
        elif len(observed) <= TRAILING_MONTHS:
            rows.append(labels | _uncharted(months, int(observed[-1]), _TOO_NEW))
        else:
            too_few = sizes[group] < FEWEST_UNITS
            charted = chart_months(observed, exposure[group], months, too_few)
            rows += [labels | row for row in charted]
    return labelled(_with_run_lengths(_frame(rows, dims)), dims, COLUMNS)


def _uncharted(months: list[date], failures: int, why: str) -> dict[str, object]:
    last = {"month": months[-2], "failures": failures, "alarm": False, "thin": True, "note": why}
    return dict.fromkeys(_CHARTED) | last


def _months(context: FieldContext) -> list[date]:
    """First days of the complete months of the exposure, and the one that closes the last.

    Where none is complete, those of the month of the as-of date and the next one.
    """
    first: date = context.units.select(pl.col("watched_from").min()).item() or context.as_of
    months = months_between(first, context.as_of + timedelta(days=1))
    if len(months) > 1:
        return months
    return months_between(context.as_of, context.as_of.replace(day=1) + timedelta(days=31))


def _counts(
    context: FieldContext, keys: list[str], months: list[date]
) -> dict[tuple[object, ...], np.ndarray]:
    month = pl.col("failed_on").dt.truncate("1mo")
    counted = (
        context.failures.group_by(*keys, month.alias("month"))
        .agg(failures=pl.len())
        .filter(pl.col("month") < months[-1])
    )
    place = {day: i for i, day in enumerate(months[:-1])}
    counts: dict[tuple[object, ...], np.ndarray] = {}
    for *key, day, failures in counted.select(*keys, "month", "failures").iter_rows():
        counts.setdefault(tuple(key), np.zeros(len(place)))[place[day]] = failures
    return counts


def chart_months(
    observed: np.ndarray, days: np.ndarray, months: list[date], too_few: bool
) -> list[dict[str, object]]:
    """The months of one group after their first year, run lengths still to come."""
    trailing = _trailing(observed), _trailing(days)
    usable = (trailing[1] > 0) & (days[TRAILING_MONTHS:] > 0)
    none_yet = usable & (trailing[0] == 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        expected = np.maximum(trailing[0], 0.5) / trailing[1] * days[TRAILING_MONTHS:]
    expected = np.where(usable, expected, 0.0)
    designs = [cusum.design(x) if x > 0 else (0.0, np.inf) for x in expected]
    reference = np.array([k for k, _ in designs])
    counts = observed[TRAILING_MONTHS:]
    # A month that nothing can be expected of leaves the sum as it is.
    sums = cusum.path(np.where(usable, counts, 0.0)[None, :], reference[None, :])[0]
    rows = []
    for i, (k, h) in enumerate(designs):
        known = bool(usable[i])
        rows.append(
            {
                "month": months[TRAILING_MONTHS + i],
                "failures": int(counts[i]),
                "expected": float(expected[i]) if known else None,
                "cusum": float(sums[i]) if known else None,
                "reference_value": k if known else None,
                "decision_value": h if known else None,
                "alarm": bool(known and counts[i] > k and sums[i] >= h),
                "thin": bool(too_few or trailing[0][i] + counts[i] < FEWEST_FAILURES),
                "note": _why(known, bool(none_yet[i]), float(days[TRAILING_MONTHS + i])),
            }
        )
    return rows


def _why(known: bool, none_yet: bool, days: float) -> str | None:
    """What a month of a chart has to say, if anything."""
    if known:
        return _HALF if none_yet else None
    return f"{NO_EXPOSURE} in the trailing year" if days > 0 else NO_EXPOSURE


def _with_run_lengths(charted: pl.DataFrame) -> pl.DataFrame:
    """Months with the run length of each: those of one design are solved together."""
    expected, reference, decision = (
        charted[name].to_numpy() for name in ("expected", "reference_value", "decision_value")
    )
    lengths = np.full(charted.height, np.nan)
    known = np.flatnonzero(np.isfinite(expected))
    designs, which = np.unique(
        np.column_stack([reference[known], decision[known]]), axis=0, return_inverse=True
    )
    for place, (k, h) in enumerate(designs):
        own = known[which == place]
        lengths[own] = cusum.average_run_lengths(expected[own], float(k), float(h))
    return charted.with_columns(average_run_length=pl.Series(lengths, nan_to_null=True))


def _trailing(values: np.ndarray) -> np.ndarray:
    sums = np.concatenate([[0.0], np.cumsum(values)])
    trailing: np.ndarray = (sums[TRAILING_MONTHS:] - sums[:-TRAILING_MONTHS])[:-1]
    return trailing


def _frame(rows: list[dict[str, object]], dims: Slice) -> pl.DataFrame:
    schema = dict.fromkeys(dims, pl.String) | {
        "month": pl.Date,
        "failures": pl.Int64,
        "expected": pl.Float64,
        "cusum": pl.Float64,
        "reference_value": pl.Float64,
        "decision_value": pl.Float64,
        "alarm": pl.Boolean,
        "thin": pl.Boolean,
        "note": pl.String,
    }
    return pl.DataFrame(rows, schema=schema)
