"""How each unit was installed: what a start-up report would read.

Belongs here: readings as they are on site. Does not belong here: whether a report was written
(`documents`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_data.days import months_of
from sample_data.draws import Array, Draws
from sample_data.editions import FAMILIES, reference
from sample_data.population import Sites, Units

GASES = ("natural", "propane", "none")
_GAS_SHARE = {"Skerry": (0, 0, 1), "Beck": (0, 0, 1), "Force": (45, 8, 47), "Linn": (75, 10, 15)}


@dataclass(frozen=True)
class Installation:
    """One entry a unit, in the units of the startups feed; pressure NaN where no gas is burned."""

    flowing_psi: Array
    static_psi: Array
    gas: Array  # position in GASES
    gas_in_wc: Array
    drain_gap_in: Array
    side_in: Array
    level: Array
    under_hood: Array
    water_lines: Array

    def low_or_high_flow(self) -> Array:
        """Flowing pressure outside 30 to 60 psi."""
        return (self.flowing_psi < 30) | (self.flowing_psi > 60)

    def no_air_gap(self) -> Array:
        """An air gap at the drain below 2 inches."""
        return self.drain_gap_in < 2

    def gas_outside(self) -> Array:
        """Gas pressure outside 5 to 14 (natural) or 12 to 14 (propane) inches of water."""
        least = np.where(self.gas == 1, 12, 5)
        return (self.gas_in_wc < least) | (self.gas_in_wc > 14)


def draw_installation(units: Units, seed: int) -> Installation:
    """Readings for every unit: most sound, some outside what the terms allow."""
    draws, n = Draws(seed, "installation"), len(units)
    gas = np.zeros(n, dtype=np.int64)
    for position, name in enumerate(FAMILIES):
        rows = np.flatnonzero(units.family == position)
        gas[rows] = draws.pick(np.array(_GAS_SHARE[name], dtype=float), len(rows))
    flowing = np.clip(np.round(45 + 8.5 * draws.normal(n)), 14, 92)
    pressure = np.where(gas == 1, 13 + 0.6 * draws.normal(n), 8 + 1.7 * draws.normal(n))
    flooded = draws.chance(0.08, n)
    return Installation(
        flowing_psi=flowing,
        static_psi=flowing + draws.whole(4, 18, n),
        gas=gas,
        gas_in_wc=np.where(gas == 2, np.nan, np.round(pressure * 10) / 10),
        drain_gap_in=np.where(flooded, draws.whole(0, 3, n) / 2, draws.whole(4, 10, n) / 2),
        side_in=draws.whole(1, 12, n).astype(float),
        level=~draws.chance(0.04, n),
        under_hood=~draws.chance(0.05, n),
        water_lines=1 + draws.chance(0.35, n).astype(np.int64),
    )


def supply_c(sites: Sites, site: Array, days: Array) -> Array:
    """Temperature of the supply at these sites on these days: coldest in February."""
    coldest = reference("regions")["coldest_supply_c"].cast(float).to_numpy()[sites.region[site]]
    season = (1 - np.cos(2 * np.pi * (months_of(days) - 2) / 12)) / 2
    return coldest + (22 - 0.7 * coldest) * season
