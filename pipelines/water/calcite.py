"""How far a water is from calcite and amorphous silica, and how much calcite it can lay down.

Belongs here: saturation indices and the calcium carbonate precipitation potential (CCPP), closed
and vented. Does not belong here: speciation itself, simple indices (`indices`).

Both potentials are one equation in the hydrogen activity. With calcite present free calcium times
free carbonate is fixed, and dissolving calcite changes calcium, total carbon and half the
alkalinity alike, so that `calcium - carbon` and `alkalinity - 2 carbon` stay (closed), or
`alkalinity - 2 calcium` (vented). CCPP is what calcium has lost, in mol/kg.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipelines.water.constants import Array, Constants
from pipelines.water.speciation import Step, StepFor, positive_root, settle
from pipelines.water.species import (
    Ratios,
    Speciation,
    Water,
    activity_coefficients,
    carbonate_weights,
    other_alkalinity,
    ratios_at,
)


def saturation_index(k: Constants, s: Speciation) -> Array:
    """log10(ion activity product / K) of calcite."""
    _, _, gamma_2 = activity_coefficients(k.davies_a, s.ionic_strength)
    return np.log10(s.calcium * s.carbonate * gamma_2 * gamma_2 / k.calcite)


def silica_index(k: Constants, s: Speciation, w: Water) -> Array:
    """log10(activity of dissolved silica / K) of amorphous silica."""
    r = ratios_at(k, s.hydrogen, s.ionic_strength)
    neutral, _, _ = activity_coefficients(k.davies_a, s.ionic_strength)
    return np.log10(w.silica * r.silicic_share * neutral / k.silica)


def _held_calcium(r: Ratios, s: Speciation, calcium: Array, free: Array) -> Array:
    unpaired = 1.0 + r.ca_oh + s.sulfate * r.ca_so4
    return calcium * (unpaired + free * (r.ca_hco3 + r.ca_co3))


def _closed(k: Constants, w: Water, total_carbon: Array) -> StepFor:
    def for_rows(rows: NDArray[np.intp]) -> Step:
        kept = (w.calcium - total_carbon)[rows]
        charge = (w.alkalinity - 2.0 * total_carbon)[rows]
        product = k.calcite if k.calcite.ndim == 0 else k.calcite[rows]

        def step(r: Ratios, s: Speciation, part: Water) -> tuple[Array, Array, Array]:
            carbonate, bicarbonate, dioxide = carbonate_weights(r, s)
            solubility = product / (r.gamma_2 * r.gamma_2)
            weight = carbonate + bicarbonate + dioxide
            unpaired = 1.0 + r.ca_oh + s.sulfate * r.ca_so4
            free = positive_root(weight, kept, solubility * unpaired)
            calcium = solubility / free
            other, other_slope = other_alkalinity(r, s, part, calcium)
            paired = solubility * r.ca_hco3
            acid = bicarbonate + 2.0 * dioxide
            excess = other - free * acid - paired - charge
            free_slope = -(acid * free * free + solubility * r.ca_oh) / (2.0 * weight * free + kept)
            slope = other_slope - free_slope * acid - free * (bicarbonate + 4.0 * dioxide) - paired
            return free, calcium, -excess / slope

        return step

    return for_rows


def _vented(k: Constants, w: Water, dioxide_activity: float) -> StepFor:
    def for_rows(rows: NDArray[np.intp]) -> Step:
        kept = (w.alkalinity - 2.0 * w.calcium)[rows]

        def step(r: Ratios, s: Speciation, part: Water) -> tuple[Array, Array, Array]:
            carbonate, bicarbonate, _ = carbonate_weights(r, s)
            free = (
                dioxide_activity
                * k.carbonic_1
                * k.carbonic_2
                / (s.hydrogen * s.hydrogen * r.gamma_2)
            )
            calcium = k.calcite / (r.gamma_2 * r.gamma_2 * free)
            other, other_slope = other_alkalinity(r, s, part, calcium)
            paired = calcium * free * r.ca_hco3
            unpaired = 1.0 + s.sulfate * r.ca_so4
            excess = (
                free * (2.0 * carbonate + bicarbonate)
                - paired
                + other
                - 2.0 * calcium * (unpaired + r.ca_oh)
                - kept
            )
            slope = (
                other_slope
                - free * (4.0 * carbonate + bicarbonate)
                - paired
                - 4.0 * calcium * unpaired
                - 2.0 * calcium * r.ca_oh
            )
            return free, calcium, -excess / slope

        return step

    return for_rows


def closed_potential(
    k: Constants, w: Water, total_carbon: Array, start: Speciation
) -> tuple[Array, NDArray[np.bool_]]:
    """CCPP in mol/kg with no gas exchanged: positive deposits, negative dissolves.

    Returns the potential and a mask of the waters that have one.
    """
    state, settled = settle(_closed(k, w, total_carbon), k, w, start)
    r = ratios_at(k, state.hydrogen, state.ionic_strength)
    return w.calcium - _held_calcium(r, state, state.calcium, state.carbonate), settled


def vented_potential(
    k: Constants, w: Water, log_pco2_atm: float, start: Speciation
) -> tuple[Array, NDArray[np.bool_]]:
    """CCPP in mol/kg against a gas of fixed carbon dioxide pressure.

    `k` holds one temperature. Returns the potential and a mask of the waters that have one.
    """
    activity = float(k.carbon_dioxide) * 10.0**log_pco2_atm
    state, settled = settle(_vented(k, w, activity), k, w, start)
    r = ratios_at(k, state.hydrogen, state.ionic_strength)
    return w.calcium - _held_calcium(r, state, state.calcium, state.carbonate), settled
