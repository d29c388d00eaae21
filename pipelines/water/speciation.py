"""Solving for the state of a water: from pH and alkalinity, or from alkalinity and carbon.

Belongs here: the rounds that settle every water of a table at once, and the two solutions that
start from what a laboratory reports and from what heating leaves unchanged. Does not belong here:
the species themselves (`species`), calcite that deposits (`calcite`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from pipelines.water.constants import Array, Constants
from pipelines.water.species import (
    Ratios,
    Speciation,
    Water,
    carbonate_weights,
    ionic_strength,
    other_alkalinity,
    ratios_at,
)

# Every water takes the first number of rounds; those that have not settled take the second.
# Fixed numbers keep a water's figures independent of its neighbours in the table.
ROUNDS = (9, 16, 150)
SETTLED = 1e-9  # relative change of a free ion in the last round
LARGEST_STEP = 2.5  # in ln(hydrogen activity), about one pH unit


def positive_root(a: Array, b: Array, c: Array) -> Array:
    """The positive root of a x^2 + b x - c = 0 for a, c > 0, without cancellation."""
    root = np.sqrt(b * b + 4.0 * a * c)
    return np.where(b > 0.0, 2.0 * c / (b + root), (root - b) / (2.0 * a))


Rows = TypeVar("Rows", Water, Speciation, Constants)

# One round: from the ratios and the last estimate to free carbonate, free calcium, and the
# Newton step in ln(hydrogen), or None where the pH is given.
Step = Callable[[Ratios, Speciation, Water], tuple[Array, Array, Array | None]]
StepFor = Callable[[NDArray[np.intp]], Step]


def ph_given(rows: NDArray[np.intp]) -> Step:
    """Rounds at the pH of the first estimate."""
    return _ph_given


def _ph_given(r: Ratios, s: Speciation, w: Water) -> tuple[Array, Array, None]:
    """A round at a measured pH: the carbonate that makes up the alkalinity."""
    carbonate, bicarbonate, _ = carbonate_weights(r, s)
    other, _ = other_alkalinity(r, s, w, s.calcium)
    left = np.maximum(w.alkalinity - other, 1e-30)
    weight = 2.0 * carbonate + bicarbonate
    unpaired = 1.0 + r.ca_oh + s.sulfate * r.ca_so4
    pairs = r.ca_hco3 + r.ca_co3
    free = positive_root(
        weight * pairs,
        weight * unpaired + w.calcium * (r.ca_hco3 + 2.0 * r.ca_co3) - left * pairs,
        left * unpaired,
    )
    return free, w.calcium / (unpaired + pairs * free), None


def carbon_given(total_carbon: Array) -> StepFor:
    """Rounds at a given total carbon (mol/kg): the pH that makes up the alkalinity."""

    def for_rows(rows: NDArray[np.intp]) -> Step:
        carbon = total_carbon[rows]

        def step(r: Ratios, s: Speciation, w: Water) -> tuple[Array, Array, Array]:
            carbonate, bicarbonate, dioxide = carbonate_weights(r, s)
            weight = carbonate + bicarbonate + dioxide
            unpaired = 1.0 + r.ca_oh + s.sulfate * r.ca_so4
            pairs = r.ca_hco3 + r.ca_co3
            free = positive_root(
                weight * pairs,
                weight * unpaired + (w.calcium - carbon) * pairs,
                carbon * unpaired,
            )
            calcium = w.calcium / (unpaired + pairs * free)
            other, other_slope = other_alkalinity(r, s, w, calcium)
            b0 = carbonate + calcium * r.ca_co3
            b1 = bicarbonate + calcium * r.ca_hco3
            excess = free * (2.0 * b0 + b1) + other - w.alkalinity
            slope = other_slope - free * (b0 * b1 + b1 * dioxide + 4.0 * b0 * dioxide) / (
                b0 + b1 + dioxide
            )
            return free, calcium, -excess / slope

        return step

    return for_rows


def take(values: Rows, rows: NDArray[np.intp] | NDArray[np.bool_]) -> Rows:
    """The same dataclass with only some rows; single values stay."""
    arrays = {f.name: getattr(values, f.name) for f in fields(values)}
    return type(values)(**{n: a if a.ndim == 0 else a[rows] for n, a in arrays.items()})


def _advance(
    step: Step, k: Constants, w: Water, s: Speciation, bound: Array, last: Array
) -> tuple[Speciation, Array, Array, Array]:
    """One round for all rows; returns the new estimate, step bound, last step and change."""
    r = ratios_at(k, s.hydrogen, s.ionic_strength)
    carbonate, calcium, newton = step(r, s, w)
    hydrogen, change = s.hydrogen, np.zeros_like(carbonate)
    if newton is not None:
        # A step that turns back halves the largest step allowed: Newton where it converges,
        # bisection in effect where the curve is too flat for it.
        bound = np.where(newton * last < 0.0, bound * 0.5, np.minimum(bound * 2.0, LARGEST_STEP))
        last = np.clip(newton, -bound, bound)
        hydrogen = np.clip(s.hydrogen * np.exp(last), 1e-16, 1e2)
        change = np.abs(last)
    per_carbonate_mg = r.mg_hco3 + r.mg_co3
    per_carbonate_na = r.na_hco3 + r.na_co3
    magnesium = w.magnesium / (1.0 + r.mg_oh + per_carbonate_mg * carbonate + r.mg_so4 * s.sulfate)
    sodium = w.sodium / (1.0 + per_carbonate_na * carbonate + r.na_so4 * s.sulfate)
    sulfate = w.sulfate / (
        1.0 + r.bisulfate + r.ca_so4 * calcium + r.mg_so4 * magnesium + r.na_so4 * sodium
    )
    new = Speciation(hydrogen, carbonate, calcium, magnesium, sodium, sulfate, s.ionic_strength)
    ionic = ionic_strength(r, new, w)
    change = np.maximum(change, np.abs(ionic - s.ionic_strength) / ionic)
    change = np.maximum(change, np.abs(carbonate - s.carbonate) / carbonate)
    return replace(new, ionic_strength=ionic), bound, last, change


def settle(
    step_for: StepFor, k: Constants, w: Water, start: Speciation
) -> tuple[Speciation, NDArray[np.bool_]]:
    """Rounds until every water has settled.

    Args:
        step_for: gives the round for the rows that are still moving.
        k: constants at the temperature of the result.
        w: totals; shape (waters,).
        start: a first estimate.

    Returns:
        The speciation, and a mask of the waters that settled.
    """
    result = {f.name: getattr(start, f.name).copy() for f in fields(start)}
    settled = np.zeros(len(w.calcium), dtype=bool)
    rows = np.arange(len(settled))
    state = start
    bound = np.full(len(rows), LARGEST_STEP)
    last = np.zeros(len(rows))
    for rounds in ROUNDS:
        part_k, part_w, step = take(k, rows), take(w, rows), step_for(rows)
        for _ in range(rounds):
            state, bound, last, change = _advance(step, part_k, part_w, state, bound, last)
        for name, values in result.items():
            values[rows] = getattr(state, name)
        done = change < SETTLED
        settled[rows] = done
        rows = rows[~done]
        if not len(rows):
            break
        state, bound, last = take(state, ~done), bound[~done], last[~done]
    return Speciation(**result), settled


def first_estimate(w: Water, hydrogen: Array) -> Speciation:
    """Where the rounds start: everything free, a little carbonate."""
    ionic = 0.5 * (w.sodium + w.chloride + w.alkalinity) + 2.0 * (
        w.calcium + w.magnesium + w.sulfate
    )
    return Speciation(
        hydrogen=hydrogen,
        carbonate=np.full_like(hydrogen, 1e-6),
        calcium=w.calcium.copy(),
        magnesium=w.magnesium.copy(),
        sodium=w.sodium.copy(),
        sulfate=w.sulfate.copy(),
        ionic_strength=ionic + 1e-7,
    )


def at_measured_ph(
    k: Constants, w: Water, ph: Array
) -> tuple[Speciation, Array, NDArray[np.bool_]]:
    """The speciation at a measured pH, its total carbon (mol/kg), and which waters have one.

    A water has none where hydroxide and silicate alone exceed the alkalinity.
    """
    state, settled = settle(ph_given, k, w, first_estimate(w, np.power(10.0, -ph)))
    r = ratios_at(k, state.hydrogen, state.ionic_strength)
    other, _ = other_alkalinity(r, state, w, state.calcium)
    weights = sum(carbonate_weights(r, state)) + state.calcium * (r.ca_hco3 + r.ca_co3)
    return state, state.carbonate * weights, settled & (w.alkalinity - other > 0.0)


def heated_closed(
    k: Constants, w: Water, total_carbon: Array, start: Speciation
) -> tuple[Speciation, NDArray[np.bool_]]:
    """The speciation at another temperature, alkalinity and total carbon unchanged."""
    return settle(carbon_given(total_carbon), k, w, start)
