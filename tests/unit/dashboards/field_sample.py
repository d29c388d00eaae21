"""Invented rows of the figures that ask why; the numbers only have to be consistent."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Callable
from decimal import Decimal
from typing import Any

from schemas import codes

Rows = dict[str, list[dict[str, Any]]]
Sliced = Callable[..., dict[str, Any]]
STATES = ("treated", "untreated")
SENTENCES = (
    ("rates", "all", "any", "300 units had 20 failures."),
    ("rates", "family", "any", "No family stands out from the others."),
    ("slice_rates", "need", "any", "By need: scale is higher."),
    ("screen", "all", "all", "Stands out: BOARD at entry 2025-Q2."),
    ("alarms", "family,cause_class", "all", "In alarm: Linn scale since 2025-06."),
    ("warnings", "family,cause_class", "all", "4 pairs are watched."),
    ("regions", "region", "water", "No region stands out from the others."),
    ("dose_step", "hardness_mg_l_caco3", "scale", "Hardness: above 56 scale fails more."),
    ("dose_step", "Linn,hardness_mg_l_caco3", "scale", "Hardness of Linn alone."),
    ("standard_curves", "survival", "water", "By 24 months 60% had no failure."),
    ("standard_curves", "all", "water", "Units with longer cover do not fail differently."),
    ("treatment_ratios", "all", "water", "Treated units have fewer first failures."),
    ("cohort_ratios", "entry", "any", "No quarter of entry stands out from the others."),
    ("weibull", "all", "water", "10 % of units have a first failure by 12.0 months."),
    ("costs", "cause_class", "all", "Payable by cause: scale 10.00 (60%)."),
    ("clock_starts", "all", "all", "3 units have a clock start taken from shipment."),
    ("agency_figures", "returns", "all", "4 of 40 repairs came back. AGENCY3: 8 of 40 came back."),
)


def add_rows(rows: Rows, sliced: Sliced) -> None:
    """Adds the rows of these figures to those of all others; `sliced` makes one."""
    _slices(rows, sliced)
    _curves(rows, sliced)
    _found(rows, sliced)
    _dose(rows, sliced)
    _behind(rows)
    rows["field_sentences"] = [
        dict(zip(("figure", "by", "event", "sentence"), told, strict=True)) for told in SENTENCES
    ]


def rate_of(failures: int, years: float) -> dict[str, Any]:
    """Failures, time, rate and limits of a row."""
    rate = 100 * failures / years
    return {
        "failures": failures, "units": 50, "unit_years": years, "rate_per_100": rate,
        "low": rate * 0.7, "high": rate * 1.4, "robust_low": rate * 0.6, "robust_high": rate * 1.5,
    }  # fmt: skip


def _slices(rows: Rows, sliced: Sliced) -> None:
    def row(first: tuple[str, str], second: tuple[str, str], event: str, failures: int) -> Any:
        by = first[0] if second[0] == "all" else f"{first[0]},{second[0]}"
        return sliced(
            "slice_rates", by, dimension_1=first[0], value_1=first[1], dimension_2=second[0],
            value_2=second[1], event=event, **rate_of(failures, 100.0),
        )  # fmt: skip

    alone = ("all", "all")
    for event in codes.EVENTS:
        for place, need in enumerate(("none", "scale", "chloride")):
            rows["slice_rates"].append(row(("need", need), alone, event, 10 + 10 * place))
            rows["slice_rates"] += [
                row(("need", need), ("cause_class", name), event, 4 + 10 * place + n)
                for n, name in enumerate(("scale", "electrical"))
            ]
        for quarter in range(1, 5):
            value = ("entry", f"2025-Q{quarter}")
            rows["slice_rates"].append(row(value, alone, event, 20 - quarter))
        rows["slice_rates"] += [
            row((name, value), alone, event, 12)
            for name, value in (("model", "LN-12"), ("lot", "none"))
        ]
        rows["slice_rates"] += [
            row(("season", season), ("cold_supply", cold), event, 8)
            for season, cold in itertools.product(("winter", "summer"), ("mild", "cold"))
        ]


def _curves(rows: Rows, sliced: Sliced) -> None:
    for event, kind in itertools.product(codes.EVENTS, ("survival", "mean_count", "mean_cost")):
        for by, fixed in (("all", {}), *(("treatment", {"treatment": s}) for s in STATES)):
            worse = 2 if fixed.get("treatment") == "untreated" else 1
            for months in range(25):
                value = 1 - worse * months / 100 if kind == "survival" else worse * months / 20
                rows["standard_curves"].append(
                    sliced("standard_curves", by, **fixed, kind=kind, event=event, months=months,
                           value=value, low=value * 0.9, high=value * 1.1,
                           at_risk=120 - 4 * months, families="Beck; Linn", ends_at=24)
                )  # fmt: skip
    for event in codes.EVENTS:
        rows["watch_length"].append(
            sliced("watch_length", "all", event=event, ratio=1.1, low=0.9, high=1.3, p_value=0.4,
                   months=12)
        )  # fmt: skip
        rows["cohort_ratios"] += [
            sliced("cohort_ratios", "all", cohort=cohort, event=event, failures=failures,
                   expected=20.0, ratio=failures / 20, low=failures / 30, high=failures / 14,
                   p_value=0.2, q_value=0.4)
            for cohort, failures in (("2025-Q2", 30), ("2025-Q3", 0))
        ]  # fmt: skip


def _found(rows: Rows, sliced: Sliced) -> None:
    for place, (first, last) in enumerate(((6, 9), (1, 2))):
        rows["alarms"].append(
            sliced("alarms", "family,cause_class", family="Linn", cause_class="scale",
                   began=dt.date(2025, first, 1), first_month=dt.date(2025, first, 1),
                   last_month=dt.date(2025, last, 1), failures=24 - 20 * place, expected=10.0,
                   ratio=2.4, low=1.4, high=3.4, standing=place == 0)
            | {"thin": place == 1}
        )  # fmt: skip
    shared = {"units": 30, "expected": 5.0, "high": 30.0, "p_value": 0.001}
    for dimension, value, cause_class, cause, failures, low, flagged in (
        ("season,cold_supply", "winter,cold", "control", "TANK-DRY", 37, 13.0, True),
        ("region", "US-NM", "scale", "all", 15, 2.0, False),
        ("product", "none", "scale", "all", 11, 0.8, False),
    ):
        rows["screen"].append(
            sliced("screen", "all", dimension=dimension, value=value, cause=cause,
                   failures=failures, ratio=failures / 5, low=low,
                   q_value=0.01 if flagged else 0.3, flagged=flagged, **shared)
            | {"cause_class": cause_class}
        )  # fmt: skip


def _dose(rows: Rows, sliced: Sliced) -> None:
    edges = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0, 5.0)
    for by, family in (("all", "all"), ("family", "Linn")):
        fixed = {"family": family, "analyte": "hardness_mg_l_caco3", "event": "scale"}
        for days, place in itertools.product(("all", "unprotected"), range(11)):
            rows["dose_bins"].append(
                sliced("dose_bins", by, **fixed, days=days, limit=60.0, bin=place,
                       value_from=None if place == 0 else 60.0 * (0, *edges)[place - 1],
                       value_to=None if place in (0, 10) else 60.0 * edges[place - 1],
                       **rate_of(3 + place, 50.0))
                | {"thin": place < 2}
            )  # fmt: skip
        rows["dose_curve"] += [
            sliced("dose_curve", by, **fixed, value=float(value), rate_per_100=value / 4,
                   low=value / 5, high=value / 3)
            for value in (20, 60, 180, 700)
        ]  # fmt: skip
        rows["dose_step"].append(
            sliced("dose_step", by, **fixed, limit=60.0, step_at=56.5, step_low=51.0,
                   step_high=62.0, ratio=20.0, low=9.0, high=44.0, p_value=0.002, failures=196,
                   verdict="limit_at_step")
        )  # fmt: skip


def _behind(rows: Rows) -> None:
    for place in range(6):
        unknown = dict.fromkeys(
            ("cold_supply", "startup", "severity", "installation", "part"), "unknown"
        )
        rows["field_failures"].append(
            unknown
            | {
                "call": f"CALL-{place}", "claim": f"CLAIM-{place}", "serial": f"S-{place // 2}",
                "site": "SITE-1", "failed_on": dt.date(2025, 6 + place, 3), "age_days": 100 * place,
                "month": f"2025-{6 + place:02}", "family": "Linn", "model": "LN-12",
                "region": "US-NM", "profile": "scale-forming", "entry": "2025-Q2",
                "shipped": "2025-Q1", "lot": "none", "need": ["chloride", "scale"],
                "needs": "chloride+scale", "treatment": "untreated", "product": "none",
                "season": "summer", "month_of_year": f"{6 + place:02}", "year": "2025",
                "age": "0-6", "cause_class": "scale", "cause": "SCALE-HEATER",
                "agency": "AGENCY3", "water_related": True, "first_any": place % 2 == 0,
                "first_water": place % 2 == 0, "first_of_class": place % 2 == 0,
                "cost": Decimal("12.50"), "dose": ["hardness_mg_l_caco3/60:5:unprotected"],
                "page": None,
            }
        )  # fmt: skip
