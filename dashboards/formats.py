"""Numbers, dates, money and words as text; names and JSON that are safe to put on a page.

Belongs here: turning one value into text. Does not belong here: sentences (`pages`, `figures`).
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import math
import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

VERDICTS = {
    "covered": "Covered",
    "covered_in_part": "Covered in part",
    "not_covered": "Not covered",
    "needs_evidence": "Needs evidence",
    "needs_review": "Needs review",
}
PAYMENTS = {
    "unpaid": "Unpaid",
    "paid_in_part": "Paid in part",
    "paid": "Paid",
    "overpaid": "Overpaid",
    "credited_twice": "Credited twice",
    "paid_though_not_covered": "Paid though not covered",
    "paid_while_open": "Paid while open",
    "taken_back": "Taken back",
    "claim_unknown": "Credited for no claim on file",
}
OUTCOMES = {
    "met": "met",
    "unmet": "not met",
    "unknown": "not known",
    "disputed": "disputed",
    "not_needed": "not needed",
    "not_evaluated": "not looked at",
}
CONDITIONS = {
    "unit_on_register": "Unit is on the register",
    "terms_in_force": "Terms are in force",
    "records_agree": "Records agree",
    "filed_in_time": "Filed in time",
    "agency_authorized": "Agency is authorized",
    "only_claim_for_failure": "Only claim for this failure",
    "earlier_repair_held": "Earlier repair held",
    "startup_requested_in_time": "Start-up asked for in time",
    "startup_completed": "Start-up completed",
    "within_parts_window": "Within the parts window",
    "within_labor_window": "Within the labor window",
    "cause_established": "Cause is established",
    "cause_not_excluded": "Cause is not excluded",
    "installation_sound": "Installation is sound",
    "water_tested": "Water was tested",
    "treatment_bought_new": "Treatment was bought new",
    "treatment_suits_water": "Treatment suits the water",
    "treatment_installed": "Treatment was installed",
    "treatment_maintained": "Treatment was kept up",
    "delimed": "Unit was delimed",
}
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
READINGS = {
    "flowing_pressure_psi": ("Water pressure, flowing", "psi"),
    "static_pressure_psi": ("Water pressure, at rest", "psi"),
    "supply_temperature_f": ("Supply temperature", "°F"),
    "gas_pressure_in_wc": ("Gas pressure", "in. of water"),
    "drain_air_gap_in": ("Drain air gap", "in."),
    "side_clearance_in": ("Side clearance", "in."),
    "water_lines": ("Water lines", ""),
}
FEEDS = {
    "units": "Installed base",
    "startups": "Start-up reports",
    "water_tests": "Water tests",
    "treatment_purchases": "Treatment purchases",
    "service_calls": "Service calls",
    "rulings": "Rulings",
    "credits": "Credits",
}
_UNSAFE = re.compile(r"[^a-z0-9]+")
_DASH = "–"


def whole(value: int | None) -> str:
    """A count with thousands separators; a dash where there is none."""
    return _DASH if value is None else f"{value:,}"


def number(value: float | None, digits: int = 3) -> str:
    """A number to so many significant digits, without an exponent; a dash where there is none."""
    if value is None or not math.isfinite(value):
        return _DASH
    if value == 0:
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:,.{min(decimals, 6)}f}"
    return text.rstrip("0").rstrip(".") if "." in text and decimals > digits else text


def written(value: float | None) -> str:
    """A measured value as it was written, without trailing zeros."""
    return _DASH if value is None else f"{value:.10g}"


def percent(value: float | None, decimals: int = 0) -> str:
    """A share of 0 to 1 as a percentage."""
    return _DASH if value is None or not math.isfinite(value) else f"{value:.{decimals}%}"


def money(value: Decimal | None, currency: str = "") -> str:
    """An exact amount to the cent with the currency's code; a dash where there is none."""
    return _DASH if value is None else f"{value:,.2f} {currency}".rstrip()


def day(value: dt.date | None) -> str:
    """A date as 2025-03-14; a dash where there is none."""
    return _DASH if value is None else value.isoformat()


def chart_day(value: dt.date) -> str:
    """A date for a chart: midnight where the reader is, so that no time zone moves the day."""
    return f"{value.isoformat()}T00:00:00"


def long_day(value: dt.date) -> str:
    """A date as 14 March 2025, for sentences."""
    return f"{value.day} {value:%B %Y}"


def days(count: int) -> str:
    """A number of days in words that agree."""
    return f"{count:,} day" if count == 1 else f"{count:,} days"


def counted(count: int, one: str, many: str | None = None) -> str:
    """A count with its noun, singular or plural."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def interval(low: float | None, high: float | None, digits: int = 3) -> str:
    """Two limits as `2.1 to 4.5`; a dash where either is missing."""
    if low is None or high is None:
        return _DASH
    return f"{number(low, digits)} to {number(high, digits)}"


def percents(low: float | None, high: float | None, decimals: int = 0) -> str:
    """Two shares as `21% to 45%`; a dash where either is missing."""
    if low is None or high is None:
        return _DASH
    return f"{percent(low, decimals)} to {percent(high, decimals)}"


def bracketed(limits: str) -> str:
    """Limits in brackets behind their estimate, or nothing where there are none."""
    return "" if limits == _DASH else f" ({limits})"


def listed(items: list[str], join: str = "and") -> str:
    """Words as `a, b and c`."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {join} {items[-1]}"


def file_name(claim: str) -> str:
    """A file name for any claim number: readable where it can be, and never two for one name."""
    slug = _UNSAFE.sub("-", claim.lower()).strip("-")[:40]
    digest = hashlib.sha256(claim.encode("utf-8", "surrogatepass")).hexdigest()[:10]
    return f"{slug}-{digest}.html" if slug else f"{digest}.html"


def script_json(value: Any) -> str:
    """JSON that cannot end the script element in which it stands."""
    text = json.dumps(value, separators=(",", ":"), ensure_ascii=False, default=_plain)
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text


def packed(chart: Mapping[str, Any]) -> dict[str, Any]:
    """A chart's `rows` by column: a list of names, then a list of values a row; half the size."""
    rows = {}
    for name, listed_rows in chart["rows"].items():
        columns = list(dict.fromkeys(column for row in listed_rows for column in row))
        rows[name] = [columns, *([row.get(column) for column in columns] for row in listed_rows)]
    return {**chart, "rows": rows}


def _plain(value: Any) -> Any:
    if isinstance(value, (dt.date, dt.datetime)):
        return value.isoformat()
    if isinstance(value, Decimal):
        return float(value)
    raise TypeError(f"{type(value).__name__} has no place in a page's data")
