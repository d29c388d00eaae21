"""The water tests of the sites.

Belongs here: which samples were taken and what the laboratories reported of them. Does not belong
here: what the water really is (`population`).
"""

from __future__ import annotations

import numpy as np
import polars as pl

from sample_data.columns import measured, numbered, where, words
from sample_data.days import to_dates
from sample_data.draws import Array, Draws
from sample_data.installation import supply_c
from sample_data.population import AS_OF, Sites, Units
from sample_data.treatment import Treatment

_LABS = ("CLEARWELL LAB", "STONEBROOK ANALYTICS", "FIELD KIT")
_FIELD_KIT = 2
_MOST_RETESTS = 4
# How each analyte is written: decimals, and the least that a laboratory can tell from nothing.
_WRITTEN = {
    "ph": (1, None),
    "tds_mg_l": (0, None),
    "conductivity_us_cm": (0, None),
    "hardness_mg_l_caco3": (1, None),
    "calcium_mg_l_caco3": (1, None),
    "alkalinity_mg_l_caco3": (0, None),
    "free_chlorine_mg_l": (2, 0.05),
    "total_chlorine_mg_l": (2, 0.05),
    "chloride_mg_l": (1, None),
    "sulfate_mg_l": (0, None),
    "silica_mg_l": (1, None),
    "iron_mg_l": (3, 0.02),
    "sediment_um": (1, 1.0),
}
# Left out by the kit that agencies carry, and now and then by a laboratory.
_NOT_IN_KIT = ("tds_mg_l", "calcium_mg_l_caco3", "sulfate_mg_l", "silica_mg_l", "sediment_um")
_NOISE = 0.03


def water_tests(
    units: Units, serial: pl.Series, sites: Sites, treatment: Treatment, seed: int
) -> pl.DataFrame:
    """The feed water_tests, in the feed's units: the first test of most sites, retests of some."""
    draws = Draws(seed, "laboratory")
    unit, day, treated = _samples(units, treatment, draws)
    order = np.lexsort((treated, unit, day))
    unit, day, treated = unit[order], day[order], treated[order]
    n, site = len(unit), units.site[unit]
    lab = draws.pick([0.5, 0.4, 0.1], n)
    columns = {name: np.array(values[site]) for name, values in sites.water.items()}
    columns = _analyzed(columns, treated, treatment.reverse_osmosis[unit], draws)
    columns["conductivity_us_cm"] = columns["tds_mg_l"] / 0.65 * draws.spread(0.02, n)
    by_serial = ~treated & draws.chance(0.08, n)
    return pl.DataFrame(
        {
            "sample": numbered("W-", np.arange(1, n + 1)),
            "site": where(~by_serial, numbered("K-", site)),
            "serial": where(by_serial | treated, serial.gather(unit)),
            "point": words(treated * 1, ["supply", "treated"]),
            "sampled_on": to_dates("", day),
            "reported_on": to_dates("", day + np.where(lab == _FIELD_KIT, 0, draws.lag(3, 7, n))),
            "lab": words(lab, _LABS),
            **{name: _text(name, columns[name], lab, draws) for name in _WRITTEN},
            "temperature_c": measured(
                np.maximum(supply_c(sites, site, day) + draws.normal(n), 1), 1
            ),
        }
    )


def _samples(units: Units, treatment: Treatment, draws: Draws) -> tuple[Array, Array, Array]:
    """The unit at which each sample was taken, the day, and whether behind its treatment."""
    bought = np.lexsort((np.arange(len(units)), units.clock))
    _, first = np.unique(units.site[bought], return_index=True)
    unit = bought[first]  # the site's first unit
    n = len(unit)
    early = draws.chance(0.25, n)
    day = units.clock[unit] + np.where(early, draws.whole(-20, 0, n), draws.whole(1, 90, n))
    day = np.maximum(day, units.shipped[unit])
    tested = draws.chance(0.93, n)
    unit, day = unit[tested], day[tested]
    units_of, days = [unit], [day]
    for retest in range(1, _MOST_RETESTS):
        again = draws.chance(0.33, len(unit))
        units_of.append(unit[again])
        days.append(day[again] + 365 * retest + draws.whole(-60, 60, int(again.sum())))
    fitted = np.flatnonzero((treatment.works_from < AS_OF) & draws.chance(0.2, len(units)))
    units_of.append(fitted)
    days.append(treatment.works_from[fitted] + draws.whole(5, 60, len(fitted)))
    unit, day = np.concatenate(units_of), np.concatenate(days)
    treated = np.arange(len(unit)) >= len(unit) - len(fitted)
    seen = day + 12 <= AS_OF
    return unit[seen], day[seen], treated[seen]


def _analyzed(
    water: dict[str, Array], treated: Array, membrane: Array, draws: Draws
) -> dict[str, Array]:
    """Values with the spread of sampling; behind treatment what it leaves."""
    factor = draws.spread(_NOISE, len(treated))  # dissolved matter comes and goes together
    left = np.where(treated & membrane, 0.10, 1.0)
    softened = np.where(treated & ~membrane, 0.15, left)
    for name in water:
        if name == "ph":
            water[name] = water[name] + 0.04 * draws.normal(len(treated))
        elif name in ("hardness_mg_l_caco3", "calcium_mg_l_caco3"):
            water[name] = water[name] * factor * softened
        elif "chlorine" not in name:
            water[name] = water[name] * factor * left
    return water


def _text(name: str, values: Array, lab: Array, draws: Draws) -> pl.Series:
    """One analyte as the laboratories write it: bounds for non-detects, gaps."""
    places, bound = _WRITTEN[name]
    text, n = measured(values, places), len(values)
    if bound is not None:
        # One laboratory writes ND without a bound for iron and sediment.
        bare = (lab == 1) & (name in ("iron_mg_l", "sediment_um"))
        told = words(bare * 1, [f"<{bound:g}", "ND"])
        text = told.zip_with(pl.Series(values < bound), text)
    absent = draws.chance(0.02, n)
    if name in _NOT_IN_KIT:
        absent |= lab == _FIELD_KIT
    if name == "conductivity_us_cm":
        absent |= lab == 0
    return where(~absent, text)
