"""Numbers, dates, money and words as text; names and JSON that are safe to put on a page.

Belongs here: turning one value into text. Does not belong here: sentences (`pages`, `figures`).
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from schemas.wording import ANALYTES as ANALYTES
from schemas.wording import DASH as _DASH
from schemas.wording import bracketed as bracketed
from schemas.wording import counted as counted
from schemas.wording import days as days
from schemas.wording import interval as interval
from schemas.wording import listed as listed
from schemas.wording import number as number
from schemas.wording import percent as percent
from schemas.wording import percents as percents

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
    "credited_twice": "Paid twice",
    "paid_though_not_covered": "Paid though not covered",
    "paid_while_open": "Paid while open",
    "taken_back": "Taken back",
    "claim_unknown": "Paid for no claim on file",
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


def whole(value: int | None) -> str:
    """A count with thousands separators; a dash where there is none."""
    return _DASH if value is None else f"{value:,}"


def written(value: float | None) -> str:
    """A measured value as it was written, without trailing zeros."""
    return _DASH if value is None else f"{value:.10g}"


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
