"""Which dissolved species stand beside the free ions of a water, and what they add up to.

Belongs here: waters as arrays, activities, ion pairs, alkalinity, ionic strength. Does not belong
here: solving for a water's state (`speciation`), constants (`constants`), test rows.

Everything is molal and one array element is one water. A litre is taken as a kilogram of water.
Activities follow Davies; hydrogen is an activity (10^-pH), everything else a molality.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.water.constants import (
    DAVIES_LINEAR,
    DAVIES_UP_TO_MOLAL,
    NEUTRAL_SALTING_OUT,
    Array,
    Constants,
)


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
    """Carbonate, bicarbonate (Mg and Na pairs included) and CO2, per free carbonate."""
    carbonate = 1.0 + s.magnesium * r.mg_co3 + s.sodium * r.na_co3
    bicarbonate = r.bicarbonate + s.magnesium * r.mg_hco3 + s.sodium * r.na_hco3
    return carbonate, bicarbonate, r.carbon_dioxide


def other_alkalinity(r: Ratios, s: Speciation, w: Water, calcium: Array) -> tuple[Array, Array]:
    """Alkalinity that is not carbonate (eq/kg), and its slope against ln(hydrogen)."""
    basic = r.hydroxide + calcium * r.ca_oh + s.magnesium * r.mg_oh + w.silica * r.silicate
    acid = r.hydronium + s.sulfate * r.bisulfate
    return basic - acid, -basic - acid


def ionic_strength(r: Ratios, s: Speciation, w: Water) -> Array:
    """Half the sum of molality times charge squared over all species, mol/kg."""
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


def dioxide_activity(k: Constants, s: Speciation) -> Array:
    """Activity of dissolved carbon dioxide, mol/kg."""
    gamma_2 = activity_coefficients(k.davies_a, s.ionic_strength)[2]
    carbonate = s.carbonate * gamma_2
    return carbonate * s.hydrogen**2 / (k.carbonic_1 * k.carbonic_2)
