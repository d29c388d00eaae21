"""From analyses in laboratory units to every equilibrium figure, a whole table at once.

Belongs here: unit conversion, the chain of heatings, blocks and threads. Does not belong here:
what to assume for a missing value (`analysis`), words for what went wrong (`doubts`).
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipelines.water.calcite import (
    closed_potential,
    saturation_index,
    silica_index,
    vented_potential,
)
from pipelines.water.constants import (
    CALCIUM_CARBONATE_G_MOL,
    CHLORIDE_G_MOL,
    DAVIES_UP_TO_MOLAL,
    LOG_PCO2_VENTED,
    SILICA_G_MOL,
    SULFATE_G_MOL,
    Array,
    constants_at,
)
from pipelines.water.indices import ryznar
from pipelines.water.speciation import at_measured_ph, heated_closed
from pipelines.water.species import Water, dioxide_activity

BLOCK = 8192  # waters at a time: the working arrays of a block stay in the processor's cache
HOT_C = (25.0, 60.0, 100.0)
LARGEST_MG_L = 1e6  # a litre of water weighs no more
LOWEST_PH_WITH_ALKALINITY = 4.3  # end point of the titration (Standard Methods 2320 B)
CACO3_MG_PER_MOL = CALCIUM_CARBONATE_G_MOL * 1000.0


@dataclass(frozen=True, slots=True)
class Analyses:
    """Waters as a laboratory reports them; float64 arrays of one length.

    `ph` and `alkalinity_mg_l_caco3` may be NaN (no figures then), `calcium_mg_l_caco3` too (no
    figures of calcite); the others hold a number in every place.
    """

    temperature_c: Array
    ph: Array
    calcium_mg_l_caco3: Array
    magnesium_mg_l_caco3: Array
    alkalinity_mg_l_caco3: Array
    chloride_mg_l: Array
    sulfate_mg_l: Array
    silica_mg_l: Array


@dataclass(frozen=True, slots=True)
class Equilibria:
    """Figures per water, NaN where a water has none; and why, as masks.

    `log_pco2` and `ionic_strength_mol_kg` are those of the sample as it was measured.
    """

    langelier_25c: Array
    langelier_60c: Array
    langelier_100c: Array
    langelier_100c_fixed_ph: Array
    ryznar_25c: Array
    ph_25c: Array
    ph_100c: Array
    ccpp_closed_mg_l_25c: Array
    ccpp_open_mg_l_100c: Array
    silica_index_25c: Array
    silica_index_100c: Array
    ionic_strength_mol_kg: Array
    log_pco2: Array
    no_solution: NDArray[np.bool_]
    no_solution_at_fixed_ph: NDArray[np.bool_]


def equilibria(analyses: Analyses) -> Equilibria:
    """Every figure for every water, in blocks on all processors; memory does not grow with them.

    A water's figures do not depend on the others in the table.
    """
    count = len(analyses.ph)
    result = {
        f.name: np.zeros(count, dtype=bool) if "no_solution" in f.name else np.full(count, np.nan)
        for f in fields(Equilibria)
    }

    def fill(begin: int) -> None:
        part = slice(begin, min(begin + BLOCK, count))
        rows = {f.name: getattr(analyses, f.name)[part] for f in fields(analyses)}
        # Impossible waters overflow on their way to having no figures.
        with np.errstate(all="ignore"):
            for name, values in _block(rows).items():
                result[name][part] = values

    with ThreadPoolExecutor(max_workers=os.cpu_count() or 1) as pool:
        list(pool.map(fill, range(0, count, BLOCK)))
    return Equilibria(**result)


def balanced_water(a: dict[str, Array]) -> Water:
    """Molal totals, the charge balanced with sodium, or chloride where cations exceed anions."""
    calcium = a["calcium_mg_l_caco3"] / CACO3_MG_PER_MOL
    magnesium = a["magnesium_mg_l_caco3"] / CACO3_MG_PER_MOL
    chloride = a["chloride_mg_l"] / (CHLORIDE_G_MOL * 1000.0)
    sulfate = a["sulfate_mg_l"] / (SULFATE_G_MOL * 1000.0)
    alkalinity = 2.0 * a["alkalinity_mg_l_caco3"] / CACO3_MG_PER_MOL
    sodium = alkalinity + chloride + 2.0 * sulfate - 2.0 * calcium - 2.0 * magnesium
    return Water(
        calcium=calcium,
        magnesium=magnesium,
        sodium=np.maximum(sodium, 0.0),
        chloride=chloride + np.maximum(-sodium, 0.0),
        sulfate=sulfate,
        silica=a["silica_mg_l"] / (SILICA_G_MOL * 1000.0),
        alkalinity=alkalinity,
    )


def _usable(a: dict[str, Array]) -> NDArray[np.bool_]:
    amounts = [values for name, values in a.items() if name.endswith(("_l", "_caco3"))]
    usable = np.all([(v >= 0.0) & (v <= LARGEST_MG_L) for v in amounts], axis=0)
    kept: NDArray[np.bool_] = (
        usable
        & (a["alkalinity_mg_l_caco3"] > 0.0)
        & (a["ph"] >= LOWEST_PH_WITH_ALKALINITY)
        & (a["ph"] <= 14.0)
        & (a["temperature_c"] >= 0.0)
        & (a["temperature_c"] <= 100.0)
    )
    return kept


def _block(a: dict[str, Array]) -> dict[str, NDArray[Any]]:
    known_calcium = np.isfinite(a["calcium_mg_l_caco3"])
    complete = np.isfinite(a["ph"]) & np.isfinite(a["alkalinity_mg_l_caco3"])
    a = {**a, "calcium_mg_l_caco3": np.where(known_calcium, a["calcium_mg_l_caco3"], 0.0)}
    usable = np.flatnonzero(_usable(a))
    a = {name: values[usable] for name, values in a.items()}
    figures = _figures(a)
    solved = figures.pop("solved")
    known_calcium = known_calcium[usable]
    calcite = known_calcium & (a["calcium_mg_l_caco3"] > 0.0)
    for name, values in figures.items():
        shown = solved & np.isfinite(values)
        if name.startswith(("langelier", "ryznar")):
            shown &= calcite
        elif name.startswith("ccpp"):
            shown &= known_calcium
        figures[name] = np.where(shown, values, np.nan)
    return _spread(figures, usable, solved, complete, calcite)


def _spread(
    figures: dict[str, NDArray[Any]],
    usable: NDArray[np.intp],
    solved: NDArray[np.bool_],
    complete: NDArray[np.bool_],
    calcite: NDArray[np.bool_],
) -> dict[str, NDArray[Any]]:
    """The figures at their waters' places in the block, and the masks of those without any."""
    spread: dict[str, NDArray[Any]] = {}
    for name, values in figures.items():
        spread[name] = np.full(len(complete), np.nan)
        spread[name][usable] = values
    spread["no_solution"] = complete.copy()
    spread["no_solution"][usable] &= ~solved
    spread["no_solution_at_fixed_ph"] = np.zeros(len(complete), dtype=bool)
    spread["no_solution_at_fixed_ph"][usable] = (
        solved & calcite & np.isnan(figures["langelier_100c_fixed_ph"])
    )
    return spread


def _figures(a: dict[str, Array]) -> dict[str, NDArray[Any]]:
    water = balanced_water(a)
    measured_k = constants_at(a["temperature_c"])
    measured, carbon, solved = at_measured_ph(measured_k, water, a["ph"])
    solved &= measured.ionic_strength <= DAVIES_UP_TO_MOLAL
    # A water without a solution goes along as distilled, so as not to hold up its block.
    carbon = np.where(solved, carbon, 1e-6)
    figures: dict[str, Array] = {"ionic_strength_mol_kg": measured.ionic_strength}
    figures["log_pco2"] = np.log10(
        dioxide_activity(measured_k, measured) / measured_k.carbon_dioxide
    )
    state = measured
    for celsius in HOT_C:
        k = constants_at(celsius)
        state, settled = heated_closed(k, water, carbon, state)
        at = f"{celsius:.0f}c"
        index = np.where(settled, saturation_index(k, state), np.nan)
        figures[f"langelier_{at}"] = index
        if celsius == 25.0:
            figures["ph_25c"] = np.where(settled, state.ph, np.nan)
            figures["ryznar_25c"] = ryznar(state.ph, index)
            figures["silica_index_25c"] = silica_index(k, state, water)
            potential, settled = closed_potential(k, water, carbon, state)
            figures["ccpp_closed_mg_l_25c"] = np.where(
                settled, potential * CACO3_MG_PER_MOL, np.nan
            )
    figures["ph_100c"] = np.where(settled, state.ph, np.nan)
    figures["silica_index_100c"] = silica_index(k, state, water)
    potential, settled = vented_potential(k, water, LOG_PCO2_VENTED, state)
    figures["ccpp_open_mg_l_100c"] = np.where(settled, potential * CACO3_MG_PER_MOL, np.nan)
    fixed, _, settled = at_measured_ph(k, water, a["ph"])
    figures["langelier_100c_fixed_ph"] = np.where(settled, saturation_index(k, fixed), np.nan)
    return {**figures, "solved": solved}
