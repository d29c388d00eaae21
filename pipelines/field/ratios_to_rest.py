"""The rate of each value of a dimension against that of all the rest.

Belongs here: the ratio by which a sentence may name a group. Does not belong here: its words
(`sentences`), comparisons that somebody asks for (`comparison`).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.dimensions import numbered_failures
from pipelines.field.funnel import q_values
from pipelines.field.happened import which_are
from pipelines.field.laws import normal_above
from pipelines.field.poisson import DAYS_PER_YEAR, Z_95
from pipelines.field.slices import FEWEST_FAILURES, FEWEST_UNITS
from pipelines.field.unit_days import placed_by


class ComparedGroup(NamedTuple):
    """A group that may be named: its words, its ratio with limits, failures and q."""

    words: str
    ratio: float
    low: float
    high: float
    failures: int
    q_value: float


def ratios_to_rest(context: FieldContext, dim: str, event: str) -> list[ComparedGroup]:
    """Each value's rate against the rest, with limits that hold when units fail again."""
    own = placed_by(context, [dim])
    numbered = own.groups.with_row_index("group")
    failed = numbered_failures(context.failures, [dim]).join(numbered, on=dim)
    happened = failed.select(pl.col("unit", "group", "row").cast(pl.Int64)).to_numpy().T
    unit, group = happened[:2, which_are(context, event)[happened[2]]]
    place = own.at(unit, group)
    counts = np.bincount(place[place >= 0], minlength=len(own.unit)).astype(float)
    n, w = context.once(("of units", event), lambda: _of_units(context, event))
    total_y, total_t = float(n.sum()), float(w.sum())
    squares = np.array([n @ n, n @ w, w @ w])
    # By group, and by unit in each, as they stand.
    order = np.argsort(own.group, kind="stable")
    unit, events, years = own.unit[order], counts[order], own.days[order] / DAYS_PER_YEAR
    sizes = np.bincount(own.group, minlength=own.groups.height)
    ends = np.cumsum(sizes)
    groups = []
    for value, size, end in zip(own.groups[dim].to_list(), sizes.tolist(), ends, strict=True):
        inside = slice(int(end) - size, int(end))
        y, s, place = events[inside], years[inside], unit[inside]
        a, t = float(y.sum()), float(s.sum())
        b, u = total_y - a, total_t - t
        if a < FEWEST_FAILURES or size < FEWEST_UNITS or b <= 0 or u <= 0:
            continue
        all_y, all_t = n[place], w[place]
        part = (y - a / t * s) / a - ((all_y - y) - b / u * (all_t - s)) / b
        # Of units that were never in the group: the squares of all, less those of its own.
        others = squares - [all_y @ all_y, all_y @ all_t, all_t @ all_t]
        rest = float(others @ [1.0, -2 * b / u, (b / u) ** 2]) / b**2
        error = float(np.sqrt((part**2).sum() + max(rest, 0.0)))
        ratio = a / t / (b / u)
        p = float(2 * normal_above(abs(np.log(ratio)) / error)) if error > 0 else 1.0
        low, high = (float(ratio * np.exp(sign * Z_95 * error)) for sign in (-1, 1))
        groups.append(ComparedGroup(str(value), ratio, low, high, int(a), p))
    q = q_values(np.array([one.q_value for one in groups])) if groups else np.zeros(0)
    return [one._replace(q_value=float(value)) for one, value in zip(groups, q, strict=True)]


def _of_units(context: FieldContext, event: str) -> tuple[np.ndarray, np.ndarray]:
    """Failures and years watched of every unit, by its number."""
    spans = context.spans
    unit = spans["unit"].to_numpy().astype(np.int64)
    failed = context.failures["unit"].to_numpy().astype(np.int64)[which_are(context, event)]
    size = int(max(unit.max(initial=-1), failed.max(initial=-1))) + 1
    days = (spans["exit"] - spans["entry"]).to_numpy().astype(float)
    return (
        np.bincount(failed, minlength=size).astype(float),
        np.bincount(unit, days, minlength=size) / DAYS_PER_YEAR,
    )
