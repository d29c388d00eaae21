"""Numbers and lists as sentences have them, wherever a sentence is made: figures and pages alike.

Belongs here: text of one value or a few, and the names of analytes and needs. Does not belong here:
any sentence, money with its currency and days (`dashboards.formats`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

DASH = "–"
ANALYTES = {
    "ph": ("pH", ""),
    "tds_mg_l": ("Total dissolved solids", "mg/L"),
    "conductivity_us_cm": ("Conductivity", "µS/cm"),
    "hardness_mg_l_caco3": ("Hardness", "mg/L CaCO₃"),
    "calcium_mg_l_caco3": ("Calcium", "mg/L CaCO₃"),
    "alkalinity_mg_l_caco3": ("Alkalinity", "mg/L CaCO₃"),
    "free_chlorine_mg_l": ("Free chlorine", "mg/L"),
    "total_chlorine_mg_l": ("Total chlorine", "mg/L"),
    "chloramine_mg_l": ("Chloramine", "mg/L"),
    "chloride_mg_l": ("Chloride", "mg/L"),
    "sulfate_mg_l": ("Sulfate", "mg/L"),
    "silica_mg_l": ("Silica", "mg/L"),
    "iron_mg_l": ("Iron", "mg/L"),
    "sediment_um": ("Largest particle", "µm"),
}
# What a water may have to be treated against.
NEEDS = {
    "scale": "scale",
    "tds": "dissolved solids",
    "chloride": "chloride",
    "silica": "silica",
    "chlorine": "chlorine",
    "chloramine": "chloramine",
    "sediment": "sediment",
    "ph": "pH",
}


def number(value: float | None, digits: int = 3) -> str:
    """A number to so many significant digits, without an exponent; a dash where there is none."""
    if value is None or not math.isfinite(value):
        return DASH
    if value == 0:
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:,.{min(decimals, 6)}f}"
    return text.rstrip("0").rstrip(".") if "." in text and decimals > digits else text


def percent(value: float | None, decimals: int = 0) -> str:
    """A share of 0 to 1 as a percentage."""
    return DASH if value is None or not math.isfinite(value) else f"{value:.{decimals}%}"


def interval(low: float | None, high: float | None, digits: int = 3) -> str:
    """Two limits as `2.1 to 4.5`; a dash where either is missing."""
    if low is None or high is None:
        return DASH
    return f"{number(low, digits)} to {number(high, digits)}"


def percents(low: float | None, high: float | None, decimals: int = 0) -> str:
    """Two shares as `21% to 45%`; a dash where either is missing."""
    if low is None or high is None:
        return DASH
    return f"{percent(low, decimals)} to {percent(high, decimals)}"


def bracketed(limits: str) -> str:
    """Limits in brackets behind their estimate, or nothing where there are none."""
    return "" if limits == DASH else f" ({limits})"


def days(count: int) -> str:
    """A number of days in words that agree."""
    return f"{count:,} day" if count == 1 else f"{count:,} days"


def counted(count: int, one: str, many: str | None = None) -> str:
    """A count with its noun, singular or plural."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def listed(items: Sequence[str], join: str = "and") -> str:
    """Words as `a, b and c`."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {join} {items[-1]}"
