"""Figure 3, by a law: Weibull fits to the age at the first failure, and how well they fit.

Belongs here: the tables `weibull` and `probability_plot`. Does not belong here: the estimator
(`weibull`), the curve without a law (`first_failures`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import polars as pl

from pipelines.field.context import FLEET
from pipelines.field.ends import last_shown
from pipelines.field.first_failures import empty, events_of
from pipelines.field.groups import Grouped
from pipelines.field.risk_sets import MONTH_DAYS
from pipelines.field.slices import FEWEST_FAILURES, FEWEST_UNITS, labelled
from pipelines.field.weibull import Fit, Lives, Times, fit_weibull
from pipelines.units.kaplan_meier import kaplan_meier

_FITTED = ("shape", "shape_low", "shape_high", "scale_months", "scale_low", "scale_high")
_BY = {"b10": 0.10, "b50": 0.50}  # the age by which such a share has failed
_AGES = tuple(f"{name}_{part}" for name in _BY for part in ("months", "low", "high"))
_BEYOND = ("scale_extrapolated", *(f"{name}_extrapolated" for name in _BY))
WEIBULL = ("event", *_FITTED, *_AGES, "watched_to", *_BEYOND)
PLOT = ("event", "age_days", "failed", "fitted", "low", "high")
FEWEST_FOR_A_FIT = 10


@dataclass(frozen=True)
class _Group:
    """One group of units under one kind of first failure.

    failing, running, entered: how many fail, leave and enter at each age in days; watched_to: the
    last month shown of its curve (0 without one).
    """

    labels: dict[str, object]
    units: int
    failing: np.ndarray
    running: np.ndarray
    entered: np.ndarray
    watched_to: int

    @cached_property
    def failures(self) -> int:
        return int(self.failing.sum())

    @property
    def thin(self) -> bool:
        return self.failures < FEWEST_FAILURES or self.units < FEWEST_UNITS

    @cached_property
    def fit(self) -> Fit | None:
        """None where there are too few failures, or all at one age."""
        if self.failures < FEWEST_FOR_A_FIT:
            return None
        return fit_weibull(_lives(self.failing, self.running, self.entered))


def weibull(slices: Grouped) -> pl.DataFrame:
    """Weibull fits of the age at the first failure, from 10 failures up, for one slice.

    With the ages by which 10 % and 50 % have failed; what lies beyond the end of the curve is
    marked as extrapolated. A failure on the first day, at age 0, counts as some time within it.
    """
    rows = [group.labels | _row(group) for group in _groups_of(slices)]
    table = pl.DataFrame(rows, infer_schema_length=None) if rows else pl.DataFrame()
    known = empty(slices, WEIBULL).with_columns(
        pl.lit(None, pl.Boolean).alias(name) for name in (*_BEYOND, "thin")
    )
    known = known.with_columns(
        pl.lit(None, pl.Int64).alias("watched_to"), note=pl.lit(None, pl.String)
    )
    table = pl.concat([known, table], how="diagonal_relaxed")
    return labelled(table.sort(FLEET, *slices.dims, "event"), slices.dims, WEIBULL)


def probability_plot(slices: Grouped) -> pl.DataFrame:
    """The fits beside the Kaplan-Meier estimate, at every age of a first failure, for one slice.

    `failed` is the share failed in the middle of the estimate's step: 1 - (S before + S after)/2.
    A straight line of ln(-ln(1 - failed)) over ln(age) is a Weibull life. Age 0 has no logarithm
    and is left out; a group without a fit has one row that says why.
    """
    groups = _groups_of(slices)
    if not groups:
        nothing = empty(slices, PLOT).with_columns(
            age_days=pl.lit(None, pl.Int64),
            thin=pl.lit(None, pl.Boolean),
            note=pl.lit(None, pl.String),
        )
        return labelled(nothing, slices.dims, PLOT)
    fits = [group.fit for group in groups]
    points = [
        {"age_days": np.zeros(1, np.int64)} | {name: np.full(1, np.nan) for name in PLOT[2:]}
        if fit is None
        else _points(group, fit)
        for group, fit in zip(groups, fits, strict=True)
    ]
    why = [
        _why_not(group) if fit is None else None for group, fit in zip(groups, fits, strict=True)
    ]
    labels = pl.DataFrame(
        [group.labels | {"thin": group.thin} for group in groups], infer_schema_length=None
    ).with_columns(note=pl.Series(why, dtype=pl.String))
    place = np.repeat(np.arange(len(groups)), [len(own["failed"]) for own in points])
    columns = [
        pl.Series(
            name, np.concatenate([own[name] for own in points]), nan_to_null=name != "age_days"
        )
        for name in PLOT[1:]
    ]
    table = labels[place].hstack(columns)
    table = table.with_columns(age_days=pl.when(pl.col("note").is_null()).then("age_days"))
    return labelled(table.sort(FLEET, *slices.dims, "event", "age_days"), slices.dims, PLOT)


def _groups_of(slices: Grouped) -> list[_Group]:
    """The groups of a slice, each fitted once for both tables."""
    return slices.once("life groups", lambda: [*_groups(slices)])


def _groups(slices: Grouped) -> Iterator[_Group]:
    for labels, kind in events_of(slices):
        counts = slices.until(kind)
        come, gone, failing = counts
        units = slices.units_until(kind)
        ends = last_shown(counts.at_risk_at_months, units)
        for place, own in enumerate(slices.groups.to_dicts()):
            yield _Group(
                own | labels,
                int(units[place]),
                failing[place],
                gone[place] - failing[place],
                come[place],
                max(int(ends[place]), 0),
            )


def _why_not(group: _Group) -> str:
    """Why a group has no fit."""
    if group.failures < FEWEST_FOR_A_FIT:
        return (
            f"cannot be estimated, because there were {group.failures} first failures of the "
            f"{FEWEST_FOR_A_FIT} that a fit needs"
        )
    return "cannot be estimated, because all failures are at practically one age"


def _row(group: _Group) -> dict[str, object]:
    row: dict[str, object] = dict.fromkeys(WEIBULL[1:])
    row |= {"thin": group.thin, "watched_to": group.watched_to}
    fit = group.fit
    if fit is None:
        return row | {"note": _why_not(group)}
    ages = [fit.scale, fit.scale_low, fit.scale_high]
    for share in _BY.values():
        ages += fit.age_by(share)
    months = [age / MONTH_DAYS for age in ages]
    row |= dict(zip(_FITTED[:3], (fit.shape, fit.shape_low, fit.shape_high), strict=True))
    row |= dict(zip((*_FITTED[3:], *_AGES), months, strict=True))
    beyond = [months[place] > group.watched_to for place in (0, 3, 6)]
    return row | dict(zip(_BEYOND, beyond, strict=True)) | {"note": None}


def _points(group: _Group, fit: Fit) -> dict[str, np.ndarray]:
    left = np.cumsum(group.running + group.failing) - (group.running + group.failing)
    at_risk = np.cumsum(group.entered) - left
    after = kaplan_meier(at_risk[None, :], group.failing[None, :]).value[0]
    before = np.concatenate([[1.0], after[:-1]])
    ages = np.flatnonzero(group.failing[1:]) + 1
    fitted, low, high = fit.failed_by(ages.astype(float))
    failed = 1 - (before[ages] + after[ages]) / 2
    return {"age_days": ages, "failed": failed, "fitted": fitted, "low": low, "high": high}


def _lives(failing: np.ndarray, running: np.ndarray, entered: np.ndarray) -> Lives:
    def times(count: np.ndarray) -> Times:
        at = np.flatnonzero(count[1:]) + 1
        return Times(at.astype(float), count[at])

    within = (np.zeros(1), np.ones(1), failing[:1])
    return Lives(
        failed=times(failing),
        running=times(running),
        between=within if failing[0] else (np.zeros(0),) * 3,
        entered=times(entered),
    )
