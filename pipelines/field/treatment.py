"""Figure 6: whether treatment and its upkeep go with fewer failures.

Belongs here: rates by treatment state and ratios between states. Does not belong here: which state
a unit was in when (`pipelines.units.treatment_states`).

Association, not proof: who treats the water after a first failure, or keeps it up in a kitchen
that is well run anyway, differs in more than the treatment.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field.context import FLEET, FieldContext
from pipelines.field.cox import RiskSets, Stretches
from pipelines.field.groups import Grouped
from pipelines.field.happened import of_event
from pipelines.field.poisson import (
    DAYS_PER_YEAR,
    UNKNOWN_RATIO,
    Ratio,
    mantel_haenszel,
    rate_ratio,
)
from pipelines.field.rates import exposure_of, rated
from pipelines.field.slices import FEWEST_FAILURES, FEWEST_UNITS, Slice, labelled
from pipelines.field.treatment_hazards import COMPARISONS, STATES, FirstHazards, hazards_of
from schemas import codes

EFFECT = ("event", "state", "failures", "unit_years", "rate_per_100", "low", "high")
RATIOS = ("event", "comparison", "method", "ratio", "low", "high")


def treatment_effect(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """Failures per 100 unit-years in each state, for one slice that is not by treatment itself."""
    by_state = (*dims, "treatment")
    exposure = exposure_of(context, by_state)
    parts = []
    for event in codes.EVENTS:
        chosen = replace(context, failures=context.failures.filter(of_event(event)))
        table = rated(chosen, by_state, exposure).rename({"treatment": "state"})
        parts.append(table.with_columns(event=pl.lit(event)))
    order = pl.Enum(codes.TREATMENT_STATES)
    rows = pl.concat(parts).sort(FLEET, *dims, "event", pl.col("state").cast(order))
    note = pl.when(pl.col("unit_years") == 0).then(
        pl.lit("cannot be estimated, because no unit was watched in this state")
    )
    return labelled(rows.with_columns(note=note), dims, EFFECT)


def treatment_ratios(slices: Grouped) -> pl.DataFrame:
    """Ratios between states, for one slice, by state, that is not by treatment itself.

    crude: all together, exact limits. mantel_haenszel: over what the test behind the profile needs
    x family. cox: hazard on unit age, stratified by the same, all failures counting, limits
    clustered by unit. cox_first: the same on each unit's first failure alone, which no treatment
    that came after a failure can confound.
    """
    dims, context = slices.dims, slices.context
    classes: list[str | None] = [*context.classes] if "cause_class" in dims else [None]
    first_of = FirstHazards(slices.at_risk)
    rows = []
    for group, own, failed in _by_group(slices):
        side = _Side.of(own)
        kinds_of = {"any": np.ones(len(failed["age"]), bool), "water": failed["water_related"]}
        for name in classes:
            of_class = True if name is None else failed["cause_class"] == name
            for event in codes.EVENTS:
                chosen = kinds_of[event] & of_class
                happened = {key: column[chosen] for key, column in failed.items()}
                labels = {"group": group, "event": event, "cause_class": name}
                firsts = first_of.hazards(own, side.sets, event, name)
                rows += [labels | row for row in _ratios(side, happened, firsts)]
    words = ("event", "cause_class", "comparison", "method", "note")
    kinds: dict[str, pl.DataType] = dict.fromkeys(words, pl.String())
    kinds |= dict.fromkeys(("ratio", "low", "high"), pl.Float64())
    table = pl.DataFrame(rows, schema=kinds | {"group": pl.UInt32(), "thin": pl.Boolean()})
    if "cause_class" not in dims:
        table = table.drop("cause_class")
    order = [FLEET, *dims, "event", "comparison", "method"]
    groups = slices.groups.with_row_index("group")
    return labelled(table.join(groups, on="group").sort(order), dims, RATIOS)


def _by_group(
    slices: Grouped,
) -> Iterator[tuple[int, dict[str, np.ndarray], dict[str, np.ndarray]]]:
    """Each group's stretches of the three states and the failures in them, as arrays.

    Both with stratum and unit, which count up from 0, state, and number, the unit's in the context;
    empty where nobody was watched.
    """
    at_risk, episodes = slices.at_risk, slices.episodes
    number = {name: place for place, name in enumerate(STATES)}
    numbered = at_risk.stretches.select(
        state=pl.col("treatment").replace_strict(number, default=-1, return_dtype=pl.Int64),
        days="days",
    )
    of_stretch = {name: numbered[name].to_numpy() for name in numbered.columns}
    of_stretch |= episodes._asdict()
    of_stretch["number"] = of_stretch["unit"]
    of_stretch["stratum"] = _strata(slices)[of_stretch["unit"]]
    at = at_risk.failures["episode"].to_numpy()
    of_failure = {name: of_stretch[name][at] for name in ("group", "state", "stratum", "unit")}
    wanted = ("age", "water_related", "cause_class")
    of_failure |= {name: at_risk.failures[name].to_numpy() for name in wanted}
    parts = (_parted(columns, len(slices.groups)) for columns in (of_stretch, of_failure))
    for group, (own, failed) in enumerate(zip(*parts, strict=True)):
        for name in ("unit", "stratum"):
            seen, own[name] = np.unique(own[name], return_inverse=True)
            failed[name] = np.searchsorted(seen, failed[name])
        yield group, own, failed


def _strata(slices: Grouped) -> np.ndarray:
    """By number of the unit: what the test behind its profile needs x family, as a number."""
    at_risk = slices.at_risk
    numbers = np.zeros(at_risk.units, np.int64)
    units = slices.context.units.select(
        "unit", stratum=pl.struct("profile_needs", "family").rank("dense")
    )
    numbers[units["unit"].to_numpy()] = units["stratum"].to_numpy()
    return numbers


def _parted(columns: dict[str, np.ndarray], groups: int) -> Iterator[dict[str, np.ndarray]]:
    """The rows of the three states by group."""
    taken = np.flatnonzero(columns["state"] >= 0)
    order = taken[np.argsort(columns["group"][taken], kind="stable")]
    ends = np.searchsorted(columns["group"][order], np.arange(groups + 1))
    ordered = {name: column[order] for name, column in columns.items()}
    for begin, end in pairwise(ends):
        yield {name: column[begin:end] for name, column in ordered.items()}


class _Side(NamedTuple):
    """The time at risk of a group: unit-years by stratum and state, units by state, risk sets.

    time: unit-years by state. shared: of each comparison, the strata in which both have some.
    """

    years: np.ndarray
    units: np.ndarray
    sets: RiskSets
    time: list[float]
    shared: list[int]

    @classmethod
    def of(cls, own: dict[str, np.ndarray]) -> _Side:
        strata = int(own["stratum"].max(initial=0)) + 1
        years = _table(own, (strata, len(STATES)), own["days"] / DAYS_PER_YEAR)
        seen = np.zeros((int(own["unit"].max(initial=0)) + 1, len(STATES)), dtype=bool)
        seen[own["unit"], own["state"]] = True
        stretches = Stretches(*(own[name] for name in Stretches._fields))
        some = years > 0
        pairs = [[STATES.index(name) for name in pair] for pair in COMPARISONS]
        return cls(
            years,
            seen.sum(axis=0),
            RiskSets.of(stretches, len(STATES)),
            years.sum(axis=0).tolist(),
            [int((some[:, a] & some[:, b]).sum()) for a, b in pairs],
        )


def _table(
    part: dict[str, np.ndarray], shape: tuple[int, int], weight: np.ndarray | None = None
) -> np.ndarray:
    cell = part["stratum"] * shape[1] + part["state"]
    return np.bincount(cell, weight, minlength=shape[0] * shape[1]).reshape(shape)


def _ratios(
    side: _Side, failed: dict[str, np.ndarray], firsts: dict[tuple[str, str], Ratio]
) -> list[dict[str, object]]:
    years = side.years
    happened = _table(failed, years.shape)
    hazards = hazards_of(side.sets, failed)
    rows: list[dict[str, object]] = []
    counts = happened.sum(axis=0).tolist()
    for pair, shared in zip(COMPARISONS, side.shared, strict=True):
        a, b = (STATES.index(name) for name in pair)
        sides = [(int(counts[s]), side.time[s]) for s in (a, b)]
        is_thin = any(
            count < FEWEST_FAILURES or side.units[s] < FEWEST_UNITS
            for s, (count, _) in zip((a, b), sides, strict=True)
        )
        both = counts[a] > 0 and counts[b] > 0  # without it no stratum says anything
        estimates = {
            "crude": rate_ratio(*sides[0], *sides[1]),
            "mantel_haenszel": mantel_haenszel(
                happened[:, a], years[:, a], happened[:, b], years[:, b]
            )
            if both
            else UNKNOWN_RATIO,
            "cox": hazards.get(pair, UNKNOWN_RATIO),
            "cox_first": firsts.get(pair, UNKNOWN_RATIO),
        }
        for method, estimate in estimates.items():
            ratio, low, high = (_finite(x) for x in estimate)
            rows.append(
                {
                    "comparison": " vs ".join(pair),
                    "method": method,
                    "note": _why(ratio, high, pair, sides, shared),
                    "ratio": ratio,
                    "low": low,
                    "high": high,
                    "thin": is_thin,
                }
            )
    return rows


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _why(
    ratio: float | None,
    high: float | None,
    pair: tuple[str, str],
    sides: list[tuple[int, float]],
    shared: int,
) -> str | None:
    if ratio is not None and high is not None:
        return None
    for name, (failures, years) in zip(pair, sides, strict=True):
        if years == 0:
            return f"cannot be estimated, because no unit was watched while {name}"
        if failures == 0:
            return f"cannot be estimated, because there was no failure while {name}"
    if shared == 0:
        return "cannot be estimated, because no set of needs has both"
    return "cannot be estimated, because failures and units at risk of both hardly meet"
