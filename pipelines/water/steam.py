"""Steam generators: water evaporated, what concentrates, what deposits, how long things last.

Belongs here: heat and mass balances as plain arithmetic on numbers. Does not belong here:
saturation (`calcite`), sentences (`advice_lines`).
"""

from __future__ import annotations

import numpy as np

KJ_PER_KWH = 3600.0
# Enthalpy of saturated steam, kJ/kg, at gauge pressures in psi at sea level (IAPWS-IF97).
GAUGE_PSI = (0.0, 5.0, 12.0, 15.0)
STEAM_KJ_KG = (2675.53, 2688.62, 2702.44, 2707.32)
LIQUID_KJ_KG_K = 4.19  # mean heat capacity of water, 0-100 °C, within 0.3 %
DAYS_A_MONTH = 30.4375
MOST_DAYS = 36_500.0  # a century: beyond it a life is no longer a number worth printing


def steam_kg_per_kwh(feed_c: float, gauge_psi: float = 0.0) -> float:
    """Steam from one kWh that goes into the water, kg; 0-15 psig, 0.5 % against IAPWS-IF97."""
    if not GAUGE_PSI[0] <= gauge_psi <= GAUGE_PSI[-1]:
        raise ValueError(f"gauge pressure {gauge_psi} psi is outside 0-15 psi")
    vapor = float(np.interp(gauge_psi, GAUGE_PSI, STEAM_KJ_KG))
    return KJ_PER_KWH / (vapor - LIQUID_KJ_KG_K * feed_c)


def cycles_of_concentration(limit_mg_l: float, feed_mg_l: float) -> float | None:
    """How many times the feed may concentrate before the limit; None where the feed holds none."""
    return limit_mg_l / feed_mg_l if feed_mg_l > 0.0 else None


def blowdown_l(evaporated_l: float, cycles: float) -> float | None:
    """Water to let out, L, for so much evaporated: E / (cycles - 1); None at one cycle or less."""
    return evaporated_l / (cycles - 1.0) if cycles > 1.0 else None


def scale_g(ceiling_mg_l: float, feed_l: float) -> float:
    """The most calcium carbonate that so much feed can lay down, g."""
    return ceiling_mg_l * feed_l / 1000.0


def days_of_capacity(capacity_l: float, litres_per_day: float) -> float | None:
    """How long a rated volume lasts, days; None where none is stated or nothing is drawn."""
    if capacity_l <= 0.0 or litres_per_day <= 0.0:
        return None
    return min(capacity_l / litres_per_day, MOST_DAYS)
