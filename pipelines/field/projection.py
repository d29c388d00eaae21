"""Failures to be expected from the units that are still covered.

Belongs here: unit-days past and to come by age, rates by family and age, and how far a group's
failures go beyond them. Does not belong here: intervals, costs, the table (`forecast`).

Each family has a rate for each band of months in service. A group of units (a region, a water)
has its own experience, observed over expected at those rates, shrunk toward the fleet's by the
gamma-Poisson model, so that a small group does not go by chance alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from pipelines.field.shrinkage import shrink

# Ages, in days, at which a new band of months in service begins.
BANDS_DAYS = tuple(round(months * 30.4375) for months in (0, 6, 12, 18, 24, 36, 48))
_EDGES = np.array([*BANDS_DAYS, 10**6])


class Fleet(NamedTuple):
    """One element a kind of unit: numbers of its group and family; days since 1970, half-open;
    and how many units are alike."""

    group: np.ndarray
    family: np.ndarray
    begins: np.ndarray
    ends: np.ndarray
    seen_until: np.ndarray
    alike: np.ndarray


class Past(NamedTuple):
    """One element a settled failure: group, family, age in days, and its class's number."""

    group: np.ndarray
    family: np.ndarray
    age: np.ndarray
    part: np.ndarray


class Projection(NamedTuple):
    """By month (rows) and group: expected failures, their squared error, and units covered."""

    mean: np.ndarray
    error: np.ndarray
    covered: np.ndarray


def project(
    fleet: Fleet, past: Past, shape: tuple[int, int, int], months: np.ndarray
) -> Projection:
    """Expected failures of every group and part (cause class) in every month.

    Args:
        fleet: units in service.
        past: their failures so far, those not settled yet left out.
        shape: how many groups, families and parts there are.
        months: first days, since 1970; the last closes the month before it.

    Returns:
        `mean` and `error` with groups x parts as columns, part within group; `covered` too.
    """
    groups, families, parts = shape
    passed = _band_days(fleet, fleet.begins, fleet.seen_until, groups, families)
    rate, behind = _rates(passed.sum(axis=0), past, families)
    expected = (passed * rate).sum(axis=(1, 2))
    ratio, support = _experience(expected, past, groups, parts)
    means, errors, covered = [], [], []
    for begin, end in pairwise(months):
        days = _band_days(
            fleet, np.maximum(fleet.begins, begin), np.minimum(fleet.ends, end), groups, families
        )
        cells = days * rate
        mean = cells.sum(axis=(1, 2))[:, None] * ratio
        own = np.where(behind > 0, cells**2 / np.maximum(behind, 1), 0.0).sum(axis=(1, 2))
        # The error of a rate from n failures is rate/sqrt(n), and so for a ratio.
        errors.append((own[:, None] * ratio**2 + mean**2 / support).reshape(-1))
        means.append(mean.reshape(-1))
        still = (fleet.ends > begin) & (fleet.begins < end)
        units = np.bincount(fleet.group[still], fleet.alike[still], minlength=groups)
        covered.append(np.repeat(units.astype(np.int64), parts))
    return Projection(*(np.array(rows) for rows in (means, errors, covered)))


def _bands(ages_from: np.ndarray, ages_to: np.ndarray) -> Iterator[tuple[int, np.ndarray]]:
    for band, (low, high) in enumerate(pairwise(_EDGES)):
        yield band, np.maximum(np.minimum(ages_to, high) - np.maximum(ages_from, low), 0)


def _band_days(
    fleet: Fleet, begin: np.ndarray, end: np.ndarray, groups: int, families: int
) -> np.ndarray:
    """Unit-days between two dates of each unit: groups x families x bands."""
    days_by_band = np.zeros((groups * families, len(BANDS_DAYS)))
    cell = fleet.group * families + fleet.family
    for band, days in _bands(begin - fleet.begins, end - fleet.begins):
        days_by_band[:, band] = np.bincount(cell, days * fleet.alike, minlength=groups * families)
    return days_by_band.reshape(groups, families, len(BANDS_DAYS))


def _rates(days: np.ndarray, past: Past, families: int) -> tuple[np.ndarray, np.ndarray]:
    """Failures a day by family and band, and how many failures stand behind each.

    Where a family has no failure in a band, its rate over all bands stands in.
    """
    band = np.searchsorted(_EDGES, past.age, "right") - 1
    count = np.bincount(
        past.family * len(BANDS_DAYS) + band, minlength=families * len(BANDS_DAYS)
    ).reshape(families, len(BANDS_DAYS))
    whole = count.sum(axis=1, keepdims=True)
    behind = np.where(count > 0, count, whole)
    under = np.where(count > 0, days, days.sum(axis=1, keepdims=True))
    return np.divide(behind, under, out=np.zeros(behind.shape), where=under > 0), behind


def _experience(
    expected: np.ndarray, past: Past, groups: int, parts: int
) -> tuple[np.ndarray, np.ndarray]:
    """How a group's failures of each part compare with its expected failures of all parts.

    Returns:
        the ratio (groups x parts), and how many failures stand behind it (infinite where it is
        the whole fleet's).
    """
    observed = np.bincount(past.group * parts + past.part, minlength=groups * parts)
    share = np.bincount(past.part, minlength=parts) / max(len(past.part), 1)
    usual = expected[:, None] * share
    ratio, support = np.tile(share, (groups, 1)), np.full((groups, parts), np.inf)
    if groups > 1:
        for part in range(parts):
            own = observed.reshape(groups, parts)[:, part].astype(float)
            shrunk = shrink(own, usual[:, part])
            if shrunk is not None:
                ratio[:, part] = share[part] * shrunk.ratios
                support[:, part] = own + shrunk.shape
    return ratio, support
