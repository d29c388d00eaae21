"""Figures 3 and 4, pooled over families with the same weights at every age.

Belongs here: standardized curves. Does not belong here: the curves of families (`kaplan_meier`,
`mean_cumulative`), whether leaving the watch tells something (`watch_length`).

Families are covered for different times, so that a pooled curve drifts to the family with the
longest cover. A standardized one is the sum of the families' curves in the group, each weighing the
family's share of all units watched.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.counted_episodes import Events
from pipelines.field.first_failures import events_of
from pipelines.field.groups import Grouped, TimeAtRisk, grouped
from pipelines.field.mean_cumulative import means_at_months
from pipelines.field.poisson import Z_95
from pipelines.field.risk_sets import MONTHS, at_months, happened_by_months
from pipelines.field.slices import ALL, FEWEST_FAILURES, FEWEST_UNITS, LABELS, Slice
from pipelines.units.kaplan_meier import kaplan_meier

COLUMNS = ("kind", "event", "months", "value", "low", "high", "at_risk", "families", "ends_at")
KINDS = ("survival", "mean_count", "mean_cost")
LEAST_SHARE = 0.05  # of all units, below which a family is left out
FEWEST_AT_RISK = 10
GROUPED_BY = ("region", "profile", "startup", "treatment")
_LACKS = "none, because the group has no units of every family"
_FEW = "none, because fewer than 10 units of a family are at risk in the group from the start"
_SCHEMA = {
    **dict.fromkeys((*LABELS, "kind", "event", "families", "note"), pl.String()),
    **dict.fromkeys(("months", "at_risk", "ends_at"), pl.Int64()),
    **dict.fromkeys(("value", "low", "high"), pl.Float64()),
    "thin": pl.Boolean(),
}


class FamilyCurve(NamedTuple):
    """A family's curve at whole months: estimate, standard error, units at risk."""

    value: np.ndarray
    error: np.ndarray
    at_risk: np.ndarray


class Standard(NamedTuple):
    """A standardized curve: estimate, limits, the least units at risk of a family."""

    value: np.ndarray
    low: np.ndarray
    high: np.ndarray
    at_risk: np.ndarray


def family_weights(context: FieldContext) -> dict[str, float]:
    """Each family's share of all units watched, those below 5 % left out, the rest scaled up."""
    watched = context.units.filter(pl.col("watched_days") > 0)
    counts = dict(watched.group_by("family").len().sort("family").rows())
    whole = sum(counts.values())
    kept = {name: n for name, n in counts.items() if n >= LEAST_SHARE * whole}
    return {name: n / sum(kept.values()) for name, n in kept.items()}


def standardize(kind: str, weights: np.ndarray, curves: list[FamilyCurve]) -> Standard:
    """Sum of w x curve; variances add as w² V.

    Limits are log-log for survival (NaN at 0 and 1), log for counts and costs (NaN at 0).
    """
    value = sum(w * curve.value for w, curve in zip(weights, curves, strict=True))
    variance = sum(w**2 * curve.error**2 for w, curve in zip(weights, curves, strict=True))
    error = np.sqrt(np.asarray(variance))
    value = np.asarray(value)
    with np.errstate(divide="ignore", invalid="ignore"):
        if kind == "survival":
            usable = (value > 0) & (value < 1) & (error > 0)
            width = np.exp(Z_95 * error / np.abs(value * np.log(value)))
            limits = (value**width, value ** (1 / width))
        else:
            usable = (value > 0) & (error > 0)
            width = np.exp(Z_95 * error / value)
            limits = (value / width, value * width)
    low, high = (np.where(usable, limit, np.nan) for limit in limits)
    return Standard(value, low, high, np.min([curve.at_risk for curve in curves], axis=0))


def standard_curves(context: FieldContext) -> pl.DataFrame:
    """The curves of all units and of every group that is not a family, up to where each ends.

    A curve ends where one of its families has fewer than 10 at risk in the group; a group that
    lacks a family has one row that says so.
    """
    weights = family_weights(context)
    units, states = TimeAtRisk.of(context), None
    rows: list[dict[str, object]] = []
    for dim in (None, *GROUPED_BY):
        at_risk = units
        if dim == "treatment":
            at_risk = states = states or TimeAtRisk.of(context, by_state=True)
        dims: Slice = ("family",) if dim is None else ("family", dim)
        slices = grouped(at_risk, dims)
        for labels, kind in events_of(slices) if dim is None else _two_events():
            for name in KINDS:
                rows += _of_groups(slices, dim, name, labels["event"], kind, weights)
    return pl.DataFrame(rows, schema=_SCHEMA).select(*LABELS, *COLUMNS, "thin", "note")


def _two_events() -> list[tuple[dict[str, str], str]]:
    return [({"event": "any"}, "any"), ({"event": "water"}, "water")]


def _of_groups(
    slices: Grouped, dim: str | None, name: str, event: str, kind: str, weights: dict[str, float]
) -> Iterator[dict[str, object]]:
    *curve, failed = _curve(slices, name, kind)
    families = slices.groups["family"].to_list()
    values = slices.groups[dim].to_list() if dim else [ALL] * len(families)
    place = {pair: n for n, pair in enumerate(zip(families, values, strict=True))}
    for value in sorted(set(values)):
        common: dict[str, object] = dict.fromkeys(LABELS, ALL)
        common |= {"kind": name, "event": event}
        common |= {"by": dim or ALL, "families": "; ".join(weights)}
        common |= {dim: value} if dim else {}
        at = [place.get((family, value)) for family in weights]
        own = [FamilyCurve(*(part[n] for part in curve)) for n in at if n is not None]
        if not own or len(own) < len(weights):
            yield _nothing(common)
            continue
        standard = standardize(name, np.array(list(weights.values())), own)
        failures = np.sum([failed[n] for n in at if n is not None], axis=0)
        enough = np.cumprod(standard.at_risk >= FEWEST_AT_RISK).astype(bool)
        if not enough[0]:
            yield _nothing(common) | {"note": _FEW}
            continue
        ends = int(enough.sum()) - 1
        for month in range(ends + 1):
            yield common | {
                "months": month,
                "value": float(standard.value[month]),
                "low": _finite(standard.low[month]),
                "high": _finite(standard.high[month]),
                "at_risk": int(standard.at_risk[month]),
                "ends_at": ends,
                "thin": bool(
                    failures[month] < FEWEST_FAILURES or standard.at_risk[month] < FEWEST_UNITS
                ),
                "note": None
                if np.isfinite(standard.low[month])
                else "limits cannot be estimated, because no failure or no survivor is left",
            }


def _nothing(common: dict[str, object]) -> dict[str, object]:
    """The one row of a group without a curve."""
    blank = dict.fromkeys(("value", "low", "high", "ends_at"))
    return common | blank | {"months": 0, "at_risk": 0, "thin": True, "note": _LACKS}


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _curve(
    slices: Grouped, name: str, kind: str
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Estimate, error, units at risk and failures of all groups at whole months (groups x 61)."""
    if name == "survival":
        counts = slices.until(kind).below(slices.grid.ages)
        survival = kaplan_meier(counts.at_risk, counts.events)
        happened = at_months(np.cumsum(counts.events, axis=1))
        reaching = counts.at_risk_at_months
        return at_months(survival.value), at_months(survival.error), reaching, happened
    inside = slices.at_risk.inside
    own = inside.of(kind)
    episode, age, costs = (inside[column][own] for column in ("episode", "age", "cost"))
    weight = np.ones(len(age)) if name == "mean_count" else costs
    (mean,) = means_at_months(slices.counted, Events(episode, age, weight), weight)
    reaching = slices.whole.below(slices.grid.ages).at_risk_at_months
    assert reaching.shape[1] == MONTHS + 1
    happened = happened_by_months(slices.episodes.group[episode], age, slices.groups.height)
    return mean.value, mean.error, reaching, happened
