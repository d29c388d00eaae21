"""Indices that are one line of arithmetic on what a laboratory reports.

Belongs here: scale ceiling, Larson-Skold, Ryznar. Does not belong here: what needs a speciation
(`calcite`).
"""

from __future__ import annotations

import numpy as np

from pipelines.water.constants import CALCIUM_CARBONATE_G_MOL, CHLORIDE_G_MOL, SULFATE_G_MOL, Array

LEAST_ALKALINITY_MG_L = 0.01  # less than any titration can tell from none
ALKALINITY_MG_PER_MEQ = CALCIUM_CARBONATE_G_MOL / 2.0


def scale_ceiling(calcium_mg_l_caco3: Array, alkalinity_mg_l_caco3: Array) -> Array:
    """All the calcium carbonate that a litre can lay down, mg/L.

    Ca+2 + 2 HCO3- = CaCO3 + CO2 + H2O: whichever of the two runs out first is the bound.
    """
    return np.minimum(calcium_mg_l_caco3, alkalinity_mg_l_caco3)


def larson_skold(chloride_mg_l: Array, sulfate_mg_l: Array, alkalinity_mg_l_caco3: Array) -> Array:
    """(chloride + sulfate) / alkalinity in equivalents; NaN without alkalinity.

    Larson & Skold 1958, from mild steel in Great Lakes water; it says nothing about stainless
    steel.
    """
    acid = chloride_mg_l / CHLORIDE_G_MOL + 2.0 * sulfate_mg_l / SULFATE_G_MOL
    base = np.where(alkalinity_mg_l_caco3 >= LEAST_ALKALINITY_MG_L, alkalinity_mg_l_caco3, np.nan)
    return acid / (base / ALKALINITY_MG_PER_MEQ)


def ryznar(ph: Array, saturation_index: Array) -> Array:
    """2 pHs - pH with pHs = pH - saturation index (Ryznar 1944; mild steel, field experience)."""
    return ph - 2.0 * saturation_index
