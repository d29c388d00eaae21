"""Which dissolved species a water holds: free ions, ion pairs, carbonate and silica.

Belongs here: waters as arrays, and the two solutions that start from what a laboratory reports
(pH and alkalinity) and from what heating leaves unchanged (alkalinity and total carbon).
Does not belong here: calcite that deposits (`calcite`), constants (`constants`), test rows.

Everything is molal and one array element is one water. A litre is taken as a kilogram of water.
Activities follow Davies; hydrogen is an activity (10^-pH), everything else a molality.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from pipelines.water.constants import (
    DAVIES_LINEAR,
    DAVIES_UP_TO_MOLAL,
    NEUTRAL_SALTING_OUT,
    Array,
    Constants,
)

# Every water takes the first number of rounds; those that have not settled take the second.
# Fixed numbers keep a water's figures independent of its neighbours in the table.
ROUNDS = (9, 16, 150)
SETTLED = 1e-9  # relative change of a free ion in the last round
LARGEST_STEP = 2.5  # in ln(hydrogen activity), about one pH unit


@dataclass(frozen=True, slots=True)
class Water:
    """Total dissolved amounts, mol/kg each; alkalinity in eq/kg."""

    calcium: Array
    magnesium: Array
    sodium: Array
    chloride: Array
    sulfate: Array
    silica: Array
    alkalinity: Array


@dataclass(frozen=True, slots=True)
class Speciation:
    """Free ions (mol/kg), hydrogen activity and ionic strength (mol/kg)."""

    hydrogen: Array
    carbonate: Array
    calcium: Array
    magnesium: Array
    sodium: Array
    sulfate: Array
    ionic_strength: Array

    @property
    def ph(self) -> Array:
        """-log10 of the hydrogen activity."""
        return -np.log10(self.hydrogen)


@dataclass(frozen=True, slots=True)
class Ratios:
    """What stands beside a free ion at one pH and ionic strength.

    `bicarbonate` and `carbon_dioxide` are per free carbonate, a pair is per product of its free
    ions, a hydroxide per free cation; `silicate` is per total silica and counts charges.
    """

    gamma_2: Array
    hydronium: Array
    hydroxide: Array
    bicarbonate: Array
    carbon_dioxide: Array
    ca_hco3: Array
    ca_co3: Array
    ca_so4: Array
    ca_oh: Array
    mg_hco3: Array
    mg_co3: Array
    mg_so4: Array
    mg_oh: Array
    na_hco3: Array
    na_co3: Array
    na_so4: Array
    bisulfate: Array
    silicate: Array
    silicic_share: Array


def activity_coefficients(davies_a: Array, ionic_strength: Array) -> tuple[Array, Array, Array]:
    """Activity coefficients of charge 0, 1 and 2 (Davies 1962; fair up to 0.5 mol/kg)."""
    bounded = np.minimum(ionic_strength, DAVIES_UP_TO_MOLAL)
    root = np.sqrt(bounded)
    single = np.exp(-np.log(10.0) * davies_a * (root / (1.0 + root) - DAVIES_LINEAR * bounded))
    squared = single * single
    neutral = np.exp(np.log(10.0) * NEUTRAL_SALTING_OUT * bounded)
    return neutral, single, squared * squared


def ratios_at(k: Constants, hydrogen: Array, ionic_strength: Array) -> Ratios:
    """Every species relative to the free ions it is made of."""
    g0, g1, g2 = activity_coefficients(k.davies_a, ionic_strength)
    bicarbonate = g2 * hydrogen / (k.carbonic_2 * g1)
    hydroxide = k.water / (hydrogen * g1)
    cation_hydroxide = g2 / (hydrogen * g1)
    doubly = g2 * g2 / g0
    silicic_1 = g0 * k.silicic_1 / (hydrogen * g1)
    silicic_2 = g0 * k.silicic_2 / (hydrogen * hydrogen * g2)
    share = 1.0 / (1.0 + silicic_1 + silicic_2)
    return Ratios(
        gamma_2=g2,
        hydronium=hydrogen / g1,
        hydroxide=hydroxide,
        bicarbonate=bicarbonate,
        carbon_dioxide=g2 * hydrogen * hydrogen / (k.carbonic_1 * k.carbonic_2 * g0),
        ca_hco3=k.ca_hco3 * g2 * bicarbonate,
        ca_co3=k.ca_co3 * doubly,
        ca_so4=k.ca_so4 * doubly,
        ca_oh=k.ca_oh * cation_hydroxide,
        mg_hco3=k.mg_hco3 * g2 * bicarbonate,
        mg_co3=k.mg_co3 * doubly,
        mg_so4=k.mg_so4 * doubly,
        mg_oh=k.mg_oh * cation_hydroxide,
        na_hco3=k.na_hco3 * g1 * g1 * bicarbonate / g0,
        na_co3=k.na_co3 * g2,
        na_so4=k.na_so4 * g2,
        bisulfate=k.bisulfate * g2 * hydrogen / g1,
        silicate=(silicic_1 + 2.0 * silicic_2) * share,
        silicic_share=share,
    )


def carbonate_weights(r: Ratios, s: Speciation) -> tuple[Array, Array, Array]:
    """Carbonate, bicarbonate and carbon dioxide, pairs of Mg and Na included, per free carbonate."""
    carbonate = 1.0 + s.magnesium * r.mg_co3 + s.sodium * r.na_co3
    bicarbonate = r.bicarbonate + s.magnesium * r.mg_hco3 + s.sodium * r.na_hco3
    return carbonate, bicarbonate, r.carbon_dioxide


def other_alkalinity(r: Ratios, s: Speciation, w: Water, calcium: Array) -> tuple[Array, Array]:
    """Alkalinity that is not carbonate (eq/kg), and its slope against ln(hydrogen)."""
    basic = r.hydroxide + calcium * r.ca_oh + s.magnesium * r.mg_oh + w.silica * r.silicate
    acid = r.hydronium + s.sulfate * r.bisulfate
    return basic - acid, -basic - acid


def positive_root(a: Array, b: Array, c: Array) -> Array:
    """The positive root of a x^2 + b x - c = 0 for a, c > 0, without cancellation."""
    root = np.sqrt(b * b + 4.0 * a * c)
    return np.where(b > 0.0, 2.0 * c / (b + root), (root - b) / (2.0 * a))


Rows = TypeVar("Rows", Water, Speciation, Constants)

# One round: from the ratios and the last estimate to free carbonate, free calcium, and the
# Newton step in ln(hydrogen), or None where the pH is given.
Step = Callable[[Ratios, Speciation, Water], tuple[Array, Array, Array | None]]
StepFor = Callable[[NDArray], Step]


def ph_given(rows: NDArray) -> Step:
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

    def for_rows(rows: NDArray) -> Step:
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


def take(values: Rows, rows: NDArray) -> Rows:
    """The same dataclass with only some rows; single values stay."""
    arrays = {f.name: getattr(values, f.name) for f in fields(values)}
    return type(values)(**{n: a if a.ndim == 0 else a[rows] for n, a in arrays.items()})


def _ionic_strength(r: Ratios, s: Speciation, w: Water) -> Array:
    single = (
        r.hydronium
        + r.hydroxide
        + w.chloride
        + s.sodium * (1.0 + s.carbonate * r.na_co3 + s.sulfate * r.na_so4)
        + s.carbonate * (r.bicarbonate + s.calcium * r.ca_hco3 + s.magnesium * r.mg_hco3)
        + s.calcium * r.ca_oh
        + s.magnesium * r.mg_oh
        + s.sulfate * r.bisulfate
        + w.silica * r.silicate
    )
    double = s.calcium + s.magnesium + s.sulfate + s.carbonate
    return 0.5 * single + 2.0 * double


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
    ionic = _ionic_strength(r, new, w)
    change = np.maximum(change, np.abs(ionic - s.ionic_strength) / ionic)
    change = np.maximum(change, np.abs(carbonate - s.carbonate) / carbonate)
    return replace(new, ionic_strength=ionic), bound, last, change


def settle(
    step_for: StepFor, k: Constants, w: Water, start: Speciation
) -> tuple[Speciation, Array]:
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


def dioxide_activity(k: Constants, s: Speciation) -> Array:
    """Activity of dissolved carbon dioxide, mol/kg."""
    gamma_2 = activity_coefficients(k.davies_a, s.ionic_strength)[2]
    carbonate = s.carbonate * gamma_2
    return carbonate * s.hydrogen**2 / (k.carbonic_1 * k.carbonic_2)
