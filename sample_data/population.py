"""Who owns what, and what water it gets: sites, their water, and the units.

Belongs here: what is so before anything fails or is written down. Does not belong here: failures
and treatment (`lives`), documents (`paperwork`).

The waters follow the published pattern of the United States: soft in New England, the South
Atlantic and the Pacific Northwest, moderately hard around the Great Lakes and the Tennessee,
hardest in the Southwest and on the Plains, in the classes soft to 60, moderately hard to 120, hard
to 180 and very hard above, as mg/L of CaCO3 (U.S. Geological Survey, Water Science School,
"Hardness of Water"; map after Briggs and Ficke, 1977, Quality of rivers of the United States, 1975
water year, Open-File Report 78-200). The medians in `tables/waters.csv` are invented around it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_data.days import NONE, day, first_known, known_by
from sample_data.draws import Array, Draws
from sample_data.editions import ABILITIES, FAMILIES, editions, reference, waters

AS_OF = day("2026-09-30")
FIRST_SHIPPED = day("2022-08-20")
SITES_PER_UNIT = 0.68
FAMILY_SHARE = (0.16, 0.31, 0.37, 0.16)
# Milligrams of each ion for one milliequivalent, from the molar masses.
_CACO3, _CL, _SO4, _NA = 50.04, 35.45, 48.03, 22.99


@dataclass(frozen=True)
class Sites:
    """One entry a site; water in the units of the water_tests feed."""

    region: Array  # position in tables/waters.csv
    water: dict[str, Array]
    disinfectant: Array  # 0 none left at the tap, 1 chlorine, 2 chloramine


@dataclass(frozen=True)
class Units:
    """One entry a unit; days as in `days`, `needs` one column an ability of ABILITIES."""

    model: Array
    family: Array
    site: Array
    region: Array
    agency: Array
    edition: Array
    shipped: Array
    purchased: Array
    installed: Array
    retired: Array
    clock: Array
    needs: Array
    severity: Array  # 0 mild, 1 normal, 2 severe

    def __len__(self) -> int:
        return len(self.model)


def draw_sites(count: int, seed: int) -> Sites:
    """Sites over the regions, each with a water of its own."""
    draws, table = Draws(seed, "sites"), waters()
    region = draws.pick(table["share"].to_numpy(), count)

    def median(name: str) -> Array:
        return table[name].to_numpy()[region]

    hardness = median("hardness") * draws.spread(0.28, count)
    calcium = hardness * (0.60 + 0.18 * draws.uniform(count))
    share = median("alkalinity_of_hardness")
    alkalinity = (hardness * share + 6) * draws.spread(0.1, count)
    chloride = median("chloride") * draws.spread(0.30, count)
    # Enough sulfate that calcium and magnesium never outweigh the anions.
    short = (hardness * 1.03 - alkalinity) / _CACO3 - chloride / _CL
    sulfate = np.maximum(median("sulfate") * draws.spread(0.35, count), short * _SO4)
    silica = median("silica") * draws.spread(0.22, count)
    sodium = alkalinity / _CACO3 + chloride / _CL + sulfate / _SO4 - hardness / _CACO3
    metals = 0.4004 * calcium + 0.2429 * (hardness - calcium) + _NA * np.maximum(sodium, 0)
    solids = metals + 0.6 * alkalinity + chloride + sulfate + silica
    disinfectant = draws.uniform(count)
    chlorine, chloramine = median("chlorine"), median("chloramine")
    kind = np.where(
        disinfectant < chlorine, 1, np.where(disinfectant < chlorine + chloramine, 2, 0)
    )
    free = np.where(kind == 1, 0.2 + 1.1 * draws.uniform(count), 0.02 + 0.02 * draws.uniform(count))
    bound = np.where(
        kind == 2, 0.4 + 2.0 * draws.uniform(count), 0.005 + 0.04 * draws.uniform(count)
    )
    ph = 7.15 + 0.14 * np.log(alkalinity / 15) + 0.18 * draws.normal(count)
    silty = draws.chance(0.07, count)
    water = {
        "ph": ph,
        "tds_mg_l": solids,
        "hardness_mg_l_caco3": hardness,
        "calcium_mg_l_caco3": calcium,
        "alkalinity_mg_l_caco3": alkalinity,
        "free_chlorine_mg_l": free,
        "total_chlorine_mg_l": free + bound,
        "chloride_mg_l": chloride,
        "sulfate_mg_l": sulfate,
        "silica_mg_l": silica,
        "iron_mg_l": 0.03 * draws.spread(0.9, count),
        "sediment_um": np.where(silty, 12.0, 2.0) * draws.spread(0.35, count),
    }
    return Sites(region, water, kind)


def draw_units(count: int, sites: Sites, seed: int) -> Units:
    """Units at the sites, with the days that the register knows and the clock of their terms."""
    draws = Draws(seed, "units")
    family = draws.pick(FAMILY_SHARE, count)
    first = np.arange(len(sites.region))
    site = np.concatenate([first, draws.whole(0, len(first) - 1, count - len(first))])
    # Sales grow over the years, so that more of the units are young.
    age = AS_OF - 4 - FIRST_SHIPPED
    shipped = FIRST_SHIPPED + np.floor(age * draws.uniform(count) ** 0.72).astype(np.int64)
    purchased = shipped + draws.lag(3, 20, count)
    stored = draws.chance(0.03, count) * draws.whole(250, 420, count)
    installed = purchased + draws.lag(2, 22, count) + stored
    purchased = np.where(draws.chance(0.06, count), NONE, purchased)
    installed = np.where(draws.chance(0.09, count), NONE, installed)
    retired = np.where(draws.chance(0.05, count), shipped + draws.whole(200, 1400, count), NONE)
    installed, purchased, retired = (known_by(x, AS_OF) for x in (installed, purchased, retired))
    retired = np.where(retired <= np.maximum(installed, shipped + 60), NONE, retired)
    table, terms = waters(), editions()
    bought = first_known(purchased, shipped)
    edition = np.maximum(np.searchsorted(terms.from_day, bought, side="right") - 1, 0)
    fallback = shipped + terms.days_after_shipment[edition, family]
    clock = first_known(installed, purchased, fallback)
    latest = shipped + terms.latest_days_after_shipment[edition, family]
    needs, ratio = _needs(sites, site, edition, family)
    mild = ratio <= terms.mild_up_to[edition, family]
    severe = ratio > terms.severe_above[edition, family]
    region = sites.region[site]
    agencies = reference("agencies")["agency"].unique().sort().to_list()
    served = np.array([[agencies.index(a) for a in table[c]] for c in ("agency", "other_agency")])
    return Units(
        model=_model(family, draws),
        family=family,
        site=site,
        region=region,
        agency=served[draws.chance(0.25, count).astype(int), region],
        edition=edition,
        shipped=shipped,
        purchased=purchased,
        installed=installed,
        retired=retired,
        clock=np.minimum(clock, latest),
        needs=needs,
        severity=np.where(mild, 0, np.where(severe, 2, 1)),
    )


def _model(family: Array, draws: Draws) -> Array:
    """A model of the family, as a position in models.csv."""
    models = reference("models")["family"].to_list()
    first = np.array([models.index(name) for name in FAMILIES])
    number = np.array([models.count(name) for name in FAMILIES])
    step = np.floor(draws.uniform(len(family)) * number[family]).astype(np.int64)
    return first[family] + step


def _needs(sites: Sites, site: Array, edition: Array, family: Array) -> tuple[Array, Array]:
    """What the terms call for at each unit's water, and the worst value over its maximum."""
    water = dict(sites.water)
    water["chloramine_mg_l"] = water["total_chlorine_mg_l"] - water["free_chlorine_mg_l"]
    needs = np.zeros((len(site), len(ABILITIES)), dtype=bool)
    ratio = np.zeros(len(site))
    for e, per_family in enumerate(editions().limits):
        for f, limits in enumerate(per_family):
            rows = np.flatnonzero((edition == e) & (family == f))
            for analyte, limit in limits.items():
                value = water[analyte][site[rows]]
                least, most = limit.get("min", -np.inf), limit.get("max", np.inf)
                needs[rows, ABILITIES.index(limit["needs"])] |= (value < least) | (value > most)
                if analyte != "ph":
                    ratio[rows] = np.maximum(ratio[rows], value / most)
    return needs, ratio
