"""Figure 6: whether treatment and its upkeep go with fewer failures.

Belongs here: rates by treatment state and ratios between states. Does not belong here: which state
a unit was in when (`pipelines.histories.treatment_states`).

Association, not proof: who treats the water after a first failure, or keeps it up in a kitchen
that is well run anyway, differs in more than the treatment.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipelines.field.context import FLEET, FieldContext, episodes, failures_of
from pipelines.field.cox import fit_states
from pipelines.field.first_failures import of_event
from pipelines.field.poisson import (
    DAYS_PER_YEAR,
    UNKNOWN_RATIO,
    Z_95,
    Ratio,
    mantel_haenszel,
    rate_ratio,
)
from pipelines.field.rates import rated
from pipelines.field.slices import FEWEST_FAILURES, FEWEST_UNITS, Slice, labelled
from schemas import codes

EFFECT = ("event", "state", "failures", "unit_years", "rate_per_100", "low", "high")
RATIOS = ("event", "comparison", "method", "ratio", "low", "high")
# The second is the reference.
COMPARISONS = (("treated", "untreated"), ("lapsed", "untreated"), ("treated", "lapsed"))
# Cox's reference state: the one that two of three comparisons refer to.
_STATES = ("untreated", "treated", "lapsed")
METHODS = ("crude", "mantel_haenszel", "cox")


def treatment_effect(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """Failures per 100 unit-years in each state, for one slice that is not by treatment itself."""
    by_state = tuple(name for name in (*dims, "treatment"))
    parts = []
    for event in codes.EVENTS:
        chosen = _only(context, event)
        table = rated(chosen, by_state).rename({"treatment": "state"})
        parts.append(table.with_columns(event=pl.lit(event)))
    order = pl.Enum(codes.TREATMENT_STATES)
    rows = pl.concat(parts).sort(FLEET, *dims, "event", pl.col("state").cast(order))
    note = pl.when(pl.col("unit_years") == 0).then(
        pl.lit("cannot be estimated, because no unit was watched in this state")
    )
    return labelled(rows.with_columns(note=note), dims, EFFECT)


def _only(context: FieldContext, event: str) -> FieldContext:
    from dataclasses import replace

    return replace(context, failures=context.failures.filter(of_event(event)))


def treatment_ratios(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """Ratios between states, for one slice that is not by treatment itself.

    crude: all together, exact limits. mantel_haenszel: over water profiles. cox: hazard on unit
    age, stratified by water profile, all failures counting, limits clustered by unit.
    """
    groups = [FLEET, *(name for name in dims if name != "cause_class")]
    stretches = episodes(context, by_state=True).filter(pl.col("treatment").is_in(_STATES))
    placed = failures_of(context, stretches)
    by_group = stretches.partition_by(groups, as_dict=True)
    failed_by = placed.partition_by([FLEET, *dims], as_dict=True)
    classes: list[str | None] = [*context.classes] if "cause_class" in dims else [None]
    rows = []
    for group, own in sorted(by_group.items()):
        for name in classes:
            labels = dict(zip(groups, group, strict=True)) | {"cause_class": name}
            key = tuple(labels[dim] for dim in (FLEET, *dims))
            failures = failed_by.get(key, placed.clear())
            for event in codes.EVENTS:
                found = _ratios(own, failures.filter(of_event(event)))
                rows += [labels | {"event": event} | row for row in found]
    schema = dict.fromkeys((*dims, "event", "comparison", "method", "note"), pl.String)
    floats = {"ratio": pl.Float64, "low": pl.Float64, "high": pl.Float64, "thin": pl.Boolean}
    return labelled(pl.DataFrame(rows, schema=schema | floats), dims, RATIOS)


def _ratios(stretches: pl.DataFrame, failures: pl.DataFrame) -> list[dict[str, object]]:
    keys = ["profile", "treatment"]
    table = (
        stretches.group_by(keys)
        .agg(years=pl.col("days").sum() / DAYS_PER_YEAR, units=pl.col("serial").n_unique())
        .join(failures.group_by(keys).agg(failures=pl.len()), on=keys, how="left")
        .with_columns(pl.col("failures").fill_null(0))
    )
    hazards = _hazards(stretches, failures)
    rows: list[dict[str, object]] = []
    for state, reference in COMPARISONS:
        one, other = (table.filter(pl.col("treatment") == s) for s in (state, reference))
        sides = [(part["failures"].sum(), part["years"].sum()) for part in (one, other)]
        is_thin = any(
            part["failures"].sum() < FEWEST_FAILURES or part["units"].sum() < FEWEST_UNITS
            for part in (one, other)
        )
        both = one.join(other, on="profile")
        columns = ("failures", "years", "failures_right", "years_right")
        estimates = {
            "crude": rate_ratio(*sides[0], *sides[1]),
            "mantel_haenszel": mantel_haenszel(*(both[name].to_numpy() for name in columns)),
            "cox": hazards.get((state, reference), UNKNOWN_RATIO),
        }
        for method in METHODS:
            ratio, low, high = (_finite(x) for x in estimates[method])
            rows.append(
                {
                    "comparison": f"{state} vs {reference}",
                    "method": method,
                    "ratio": ratio,
                    "low": low,
                    "high": high,
                    "thin": is_thin,
                    "note": _why(ratio, high, state, reference, sides, both.height),
                }
            )
    return rows


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _why(
    ratio: float | None,
    high: float | None,
    state: str,
    reference: str,
    sides: list[tuple[int, float]],
    shared: int,
) -> str | None:
    if ratio is not None and high is not None:
        return None
    for name, (failures, years) in zip((state, reference), sides, strict=True):
        if years == 0:
            return f"cannot be estimated, because no unit was watched while {name}"
        if failures == 0:
            return f"cannot be estimated, because there was no failure while {name}"
    if shared == 0:
        return "cannot be estimated, because no water profile has both"
    return "cannot be estimated, because failures and units at risk of both hardly meet"


def _hazards(stretches: pl.DataFrame, failures: pl.DataFrame) -> dict[tuple[str, str], Ratio]:
    """Cox ratios of the comparisons; only states with a failure take part."""
    failing = set(failures["treatment"].unique())
    states = [name for name in _STATES if name in failing]
    if len(states) < 2:
        return {}
    here = stretches.filter(pl.col("treatment").is_in(states))
    units = here.select("serial").unique().sort("serial").with_row_index("unit")
    number = pl.col("treatment").replace_strict(
        {name: i for i, name in enumerate(states)}, return_dtype=pl.Int64
    )
    here = here.join(units, on="serial").select(
        "entry", "exit", "unit", stratum="profile", state=number
    )
    happened = failures.join(units, on="serial").select(
        "age", "unit", stratum="profile", state=number
    )
    fit = fit_states(here, happened, len(states), units=units.height)
    if fit is None:
        return {}
    found = {}
    for state, reference in COMPARISONS:
        if state in states and reference in states:
            contrast = np.zeros(len(states))
            contrast[states.index(state)] += 1
            contrast[states.index(reference)] -= 1
            log_ratio = contrast @ fit.log_ratios
            width = Z_95 * np.sqrt(contrast @ fit.covariance @ contrast)
            found[state, reference] = Ratio(
                *(float(np.exp(log_ratio + shift)) for shift in (0, -width, width))
            )
    return found
