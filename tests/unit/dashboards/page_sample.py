"""Invented page data of any size, with scripts and formulas planted where exports bring text in."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import polars as pl

from dashboards import data as shown
from dashboards.letters import LetterTemplates
from pipelines.worklist.order import order_claims
from schemas import codes
from schemas.columns import polars_schema
from schemas.field import FIELD_TABLES
from schemas.letters import LETTERS
from schemas.search import SEARCHED
from schemas.worklist import NEXT_STEPS
from tests.unit.dashboards import field_sample

AS_OF = dt.date(2026, 3, 31)
REFRESHED_AT = dt.datetime(2026, 4, 1, 2, 15)
SCRIPT = (
    "</script><script>window.planted = true</script><img src=x onerror='window.planted = true'>"
)
FORMULA = '=HYPERLINK("http://planted.invalid","x")'
REGIONS = ("US-CO", "US-KS", "US-NM")
FAMILIES = ("Beck", "Linn")
PROFILES = ("scale-forming", "chloramine", "within limits")
CLASSES = ("scale", "electrical")
VERDICTS = ("needs_evidence", "needs_review", "covered", "not_covered", "covered_in_part")
CENT = Decimal("0.01")


def frame(rows: list[dict[str, Any]], schema: Mapping[str, Any]) -> pl.DataFrame:
    """Rows under a schema, with null where a row says nothing."""
    full = [{name: row.get(name) for name in schema} for row in rows]
    return pl.DataFrame(full, schema=schema, orient="row")


def claim_number(place: int) -> str:
    """The number of the claim at a place; the first two are hostile."""
    return {0: FORMULA, 1: "../<b>1</b>/ü"}.get(place, f"CL-{place:05}")


def decision(place: int) -> dict[str, Any]:
    """One decision; verdicts take turns."""
    verdict = VERDICTS[place % len(VERDICTS)]
    failed = dt.date(2025, 12, 1) - dt.timedelta(days=place % 300)
    amount = Decimal(100 + place % 900) + CENT
    paid = amount if verdict in ("covered", "covered_in_part") else Decimal(0)
    lead = {
        "needs_evidence": "water_tested",
        "needs_review": "earlier_repair_held",
        "not_covered": "treatment_maintained",
        "covered_in_part": "within_labor_window",
    }.get(verdict)
    return {
        "claim": claim_number(place),
        "call": f"CALL-{place:05}",
        "serial": f"B{place // 2:07}",
        "model": "BK-6",
        "family": FAMILIES[place % 2],
        "region": REGIONS[place % 3],
        "agency": f"AGENCY{place % 7}",
        "failed_on": failed,
        "edition": "2024-A",
        "clock_start": dt.date(2024, 10, 1),
        "parts_base_end": dt.date(2026, 1, 1),
        "parts_extended_end": dt.date(2027, 1, 1),
        "labor_base_end": dt.date(2025, 10, 1),
        "labor_extended_end": dt.date(2026, 10, 1),
        "verdict": verdict,
        "lead_reason": lead,
        "missing": "complete supply water test" if verdict == "needs_evidence" else None,
        "documents_due_on": AS_OF + dt.timedelta(days=-1 if place % 10 else 20)
        if verdict == "needs_evidence"
        else None,
        **{f"{line}_claimed": amount for line in ("parts", "labor", "travel")},
        **{f"{line}_payable": paid for line in ("parts", "labor", "travel")},
        **{f"{line}_standing": paid for line in ("parts", "labor", "travel")},
        "cause": "LIMED",
        "cause_class": "scale",
        "water_related": True,
        "severity": "severe",
        "standing": verdict,
        "site": f"K-{place // 4:05}",
        "site_name": SCRIPT if place == 0 else f"Kitchen {place // 4}",
        "opened_on": failed,
        "completed_on": failed + dt.timedelta(days=3),
        "claimed_on": failed + dt.timedelta(days=9),
        "file_by": failed + dt.timedelta(days=160),
        "needs": ["scale"],
        "ruling_outdated": False,
    }


def letter(made: dict[str, Any]) -> dict[str, Any]:
    """The letter of one decision, with a script where an export brings text in."""
    lists = [name for name, kind in LETTERS.items() if kind == pl.List(pl.String)]
    asks = made["verdict"] == "needs_evidence"
    return (
        {name: made.get(name) for name in LETTERS}
        | {name: [] for name in lists}
        | {
            "agency_name": f"Fennel Repair {made['agency'].removeprefix('AGENCY')}",
            "agency_email": f"{made['agency'].lower()}@fennel.example",
            "cause_words": SCRIPT,
            "decision": "The claim is decided in one sentence.",
            "basis": "This is computed.",
            "appeal": "To appeal, answer this letter.",
            "reasons": [f"The lead reason of 2025-11-30. {SCRIPT}"],
            "clauses": ["Condition 15 of 20, water tested; terms 2024-A, water.panel"],
            "documents": ["complete supply water test"] if asks else [],
            "forms": ["A laboratory's report."] if asks else [],
            "document_clauses": ["Condition 15 of 20"] if asks else [],
            "total_claimed": 3 * made["parts_claimed"],
            "total_standing": 3 * made["parts_standing"],
            "cautions": ["Deliming uses acids."],
        }
    )


def finding(claim: str, place: int, verdict: str, lead: str | None) -> list[dict[str, Any]]:
    """Twenty findings of one claim: the lead reason as its verdict asks, the others met."""
    outcome_of_lead = {"needs_evidence": "unknown", "needs_review": "disputed"}.get(
        verdict, "unmet"
    )
    rows = []
    for position, condition in enumerate(codes.CONDITIONS, 1):
        is_lead = condition == lead
        reason = f"The records of {condition} are as they should be."
        if is_lead:
            reason = f"{SCRIPT if place == 0 else 'The lead reason'} of 2025-11-30."
        rows.append(
            {
                "claim": claim,
                "position": position,
                "condition": condition,
                "outcome": outcome_of_lead if is_lead else "met",
                "reason": reason,
                "evidence": [
                    {
                        "feed": "service_calls",
                        "key": f"CALL-{place:05}",
                        "file": "service_calls/calls.csv",
                        "line": place + 2,
                    }
                ],
                "document": "complete supply water test" if lead == "water_tested" else None,
            }
        )
    return rows


def events(serial: str) -> list[dict[str, Any]]:
    """The dated events of one unit."""
    dated = [
        ("installed", dt.date(2024, 10, 1), "Installed."),
        ("start-up completed", dt.date(2024, 10, 20), "Start-up completed."),
        ("water test", dt.date(2024, 10, 5), f"Water tested {SCRIPT}."),
        ("treatment fitted", dt.date(2024, 11, 1), "Treatment fitted."),
        ("cartridge changed", dt.date(2025, 4, 20), "Cartridge changed."),
        ("delimed", dt.date(2025, 5, 2), "Delimed."),
        ("repair", dt.date(2025, 8, 9), "Failed: LIMED."),
    ]
    return [
        {"serial": serial, "kind": kind, "on": on, "label": label, "evidence": "units/x/y.csv:1"}
        for kind, on, label in dated
    ]


def water_values(claim: str) -> list[dict[str, Any]]:
    """A value far outside, one within two limits, a non-detect and one without a limit."""
    common = {"claim": claim, "sample": "LAB-1", "sampled_on": dt.date(2024, 10, 5)}
    return [
        common
        | {"analyte": "hardness_mg_l_caco3", "value": 412.5, "max": 60.0, "needs": "scale",
           "outside": True},
        common | {"analyte": "ph", "value": 7.6, "min": 6.5, "max": 9.0, "needs": "ph",
                  "outside": False},
        common | {"analyte": "chloride_mg_l", "below": 5.0, "max": 30.0, "needs": "chloride"},
        common | {"analyte": "sulfate_mg_l", "value": 21.0},
    ]  # fmt: skip


def sliced(table: str, by: str, **values: Any) -> dict[str, Any]:
    """One row of a field table, `all` where it is not sliced."""
    blank = dict.fromkeys(
        ("family", "region", "profile", "cause_class", "startup", "treatment"), "all"
    )
    return {"by": by, **blank, "thin": False, **values}


def slices() -> list[tuple[str, dict[str, str]]]:
    """The slices that are always there, with one value a dimension each."""
    single = [("all", {})]
    single += [("region", {"region": name}) for name in REGIONS]
    single += [("family", {"family": name}) for name in FAMILIES]
    single += [("profile", {"profile": name}) for name in PROFILES]
    pairs = [
        ("region,profile", {"region": region, "profile": profile})
        for region, profile in itertools.product(REGIONS, PROFILES)
    ]
    return single + pairs


def figures() -> dict[str, pl.DataFrame]:
    """Every field table, small; the numbers are invented and only have to be consistent."""
    rows: dict[str, list[dict[str, Any]]] = {name: [] for name in FIELD_TABLES}
    with_cause = [
        (f"{by},cause_class" if by != "all" else "cause_class", fixed | {"cause_class": name})
        for by, fixed in slices()
        for name in CLASSES
    ]
    for place, (by, fixed) in enumerate(slices() + with_cause):
        rate = 10.0 + place
        rows["rates"].append(
            sliced("rates", by, **fixed, failures=20 + place, units=100, unit_years=200.0,
                   rate_per_100=rate, low=rate - 4, high=rate + 5, robust_low=rate - 5,
                   robust_high=rate + 6)
        )  # fmt: skip
        rows["costs"].append(
            sliced("costs", by, **fixed, parts=Decimal(900 + place), labor=Decimal(500),
                   travel=Decimal(100), total=Decimal(1500 + place), unit_years=200.0,
                   cost_per_unit_year=7.5)
        )  # fmt: skip
        rows["first_causes"] += [
            sliced("first_causes", by, **fixed, months=months, at_risk=120 - months,
                   incidence=months / 300, low=months / 400, high=months / 200, shown=True)
            for months in range(61)
            if "cause_class" in fixed
        ]  # fmt: skip
    for event in codes.EVENTS:
        for place, region in enumerate(REGIONS):
            ratio = (0.4, 1.0, 2.6)[place]
            rows["regions"].append(
                sliced("regions", "region", region=region, event=event, failures=30 + place,
                       units=90, unit_years=150.0, rate_per_100=20.0 * ratio, low=10.0, high=50.0,
                       shrunk_per_100=19.0, expected=20.0 + place, crude_ratio=ratio,
                       adjusted_ratio=1.1, adjusted_low=0.8, adjusted_high=1.5, funnel_95_low=0.6,
                       funnel_95_high=1.5, funnel_998_low=0.4, funnel_998_high=1.9, p_value=0.01,
                       q_value=0.02, adjusted_p_value=0.3, adjusted_q_value=0.5, flagged=False,
                       confounded=False)
            )  # fmt: skip
        for by, fixed in slices():
            _add_curves(rows, by, fixed, event)
    for by, fixed in slices():
        rows["cohorts"] += [
            sliced("cohorts", by, **fixed, cohort=cohort, event="any", months=months, units=80,
                   at_risk=80 - 4 * months, failures=months, mean_per_100=float(months),
                   mean_low=months - 1.0, mean_high=months + 2.0,
                   completed_per_100=float(months + 1), completed_low=float(months),
                   completed_high=months + 3.0, immature=cohort == "2025-Q3" and months > 6,
                   shown=months <= 15)
            for cohort in ("2024-Q4", "2025-Q3")
            for months in range(0, 19, 3)
        ]  # fmt: skip
        rows["forecast"] += [
            sliced("forecast", by, **fixed, as_of=made, month=dt.date(made.year, month, 1),
                   failures=10.0, low_80=7.0, high_80=13.0, low_95=5.0, high_95=16.0, cost=2000.0,
                   cost_low_80=1500.0, cost_high_80=2500.0, cost_low_95=1200.0,
                   cost_high_95=3000.0, actual=9 if made.year == 2025 else None)
            for made in (dt.date(2025, 3, 31), AS_OF)
            for month in range(4, 13)
        ]  # fmt: skip
    for family, name in itertools.product(FAMILIES, CLASSES):
        rows["warnings"] += [
            sliced("warnings", "family,cause_class", family=family, cause_class=name,
                   month=dt.date(2025, month, 1), failures=month % 4, expected=1.2,
                   cusum=float(month % 5), decision_value=3.5, average_run_length=400.0,
                   alarm=month % 5 == 4)
            for month in range(1, 13)
        ]  # fmt: skip
    rows["sensitivity"] = [
        {"region": region, "assumption": assumption, "units": 100, "failures": 20.0 + place,
         "unit_years": 200.0, "rate_per_100": 10.0 + place, "low": 8.0 + place,
         "high": 13.0 + place, "thin": False, "note": None}
        for region in ("all", *REGIONS)
        for place, assumption in enumerate(["as watched", "completed for reports to come"])
    ]  # fmt: skip
    rows["agency_figures"] = [
        {"agency": agency, "measure": measure, "unit": "repairs", "cases": 40, "value": 0.1,
         "low": 0.03, "high": 0.24, "compared": 40,
         "observed": None if agency == "all" else 4.0 + place,
         "expected": None if agency == "all" else 4.0,
         "ratio": None if agency == "all" else 1 + place / 4,
         "funnel_95_low": 0.2, "funnel_95_high": 1.9, "funnel_998_low": 0.0,
         "funnel_998_high": 2.6, "spread": 1.0, "p_value": 0.2, "q_value": 0.4,
         "flagged": place > 3, "thin": False, "sentence": f"{4 + place} of 40 repairs came back."}
        for measure in codes.AGENCY_MEASURES
        for place, agency in enumerate(["all", *(f"AGENCY{n}" for n in range(4))])
    ]  # fmt: skip
    field_sample.add_rows(rows, sliced)
    return {name: frame(rows[name], polars_schema(table)) for name, table in FIELD_TABLES.items()}


def _add_curves(rows: dict[str, list], by: str, fixed: dict[str, str], event: str) -> None:
    worse = 2.0 if fixed.get("profile") == "scale-forming" else 1.0
    for months in range(61):
        share = 1 - worse * months / 200
        common = {"event": event, "months": months, "at_risk": 120 - 2 * months}
        rows["survival"].append(
            sliced("survival", by, **fixed, **common, shown=120 - 2 * months >= 20,
                   failures=months, survival=share,
                   low=share - 0.05, high=min(1.0, share + 0.04))
        )  # fmt: skip
        rows["repeat_failures"].append(
            sliced("repeat_failures", by, **fixed, **common, shown=120 - 2 * months >= 20,
                   mean_count=worse * months / 90,
                   count_low=months / 120, count_high=months / 40, mean_cost=months * 4.0,
                   cost_low=months * 3.0, cost_high=months * 5.0)
        )  # fmt: skip
    rows["weibull"].append(
        sliced("weibull", by, **fixed, event=event, shape=1.4 * worse, shape_low=1.1,
               shape_high=2.9, scale_months=60.0, scale_low=40.0, scale_high=80.0, b10_months=12.0,
               b10_low=9.0, b10_high=15.0, b50_months=48.0, b50_low=40.0, b50_high=56.0,
               watched_to=50, scale_extrapolated=True, b10_extrapolated=False,
               b50_extrapolated=False)
    )  # fmt: skip
    rows["probability_plot"] += [
        sliced("probability_plot", by, **fixed, event=event, age_days=30 * months,
               failed=months / 60, fitted=months / 58, low=months / 70, high=months / 50)
        for months in (6, 12, 24)
    ]  # fmt: skip
    for place, state in enumerate(codes.TREATMENT_STATES):
        rows["treatment_effect"].append(
            sliced("treatment_effect", by, **fixed, event=event, state=state, failures=10,
                   unit_years=90.0, rate_per_100=11.0 + place, low=6.0, high=20.0)
        )  # fmt: skip
    for method in ("crude", "mantel_haenszel", "cox"):
        rows["treatment_ratios"].append(
            sliced("treatment_ratios", by, **fixed, event=event, comparison="treated vs untreated",
                   method=method, ratio=0.4, low=0.3, high=0.6)
        )  # fmt: skip


def page_data(count: int = 40, **changes: Any) -> shown.PageData:
    """Data of `count` claims with everything that a page can show; `changes` replace parts."""
    decisions = [decision(place) for place in range(count)]
    claims = [row["claim"] for row in decisions]
    serials = sorted({row["serial"] for row in decisions})
    findings = [
        row
        for place, made in enumerate(decisions)
        for row in finding(made["claim"], place, made["verdict"], made["lead_reason"])
    ]
    history = [
        {"claim": claim, "decided_at": REFRESHED_AT, "as_of": AS_OF,
         "from_verdict": "needs_evidence" if place % 2 else None,
         "to_verdict": decisions[place]["verdict"], "moved": ["water_tested"],
         "fingerprint": f"{place:064x}"}
        for place, claim in enumerate(claims[:30])
    ]  # fmt: skip
    evidence = [
        {"feed": "service_calls",
         "key": f"CALL-{place:05}", "file": "service_calls/calls.csv", "line": place + 2,
         "headers": ["Call No.", "agency", "notes"], "columns": ["call", "agency", "notes"],
         "cells": [f"CALL-{place:05}", f"AGENCY{place % 7}", SCRIPT if place == 0 else "lime"]}
        for place in range(count)
    ]  # fmt: skip
    parts: dict[str, Any] = {
        "decisions": frame(decisions, shown.DECISIONS),
        "findings": frame(findings, shown.FINDINGS),
        "history": frame(history, shown.HISTORY),
        "evidence_rows": frame(evidence, shown.EVIDENCE_ROWS),
        "letters": frame(
            [
                letter(made)
                for made in decisions
            ],
            LETTERS,
        ),
        "letter_templates": LetterTemplates(
            maker="Tarnfell", signature=None, currency="USD", as_of=AS_OF
        ),
        "counterfactuals": frame(
            [{"claim": claim, "sentence": f"Send the test {SCRIPT}."} for claim in claims[::5]],
            shown.COUNTERFACTUALS,
        ),
        "events": frame([row for serial in serials for row in events(serial)], shown.EVENTS),
        "cartridge_spans": frame(
            [{"serial": serial, "product": "LIME-OFF", "state": state, "start": start, "end": end}
             for serial in serials
             for state, start, end in (
                 ("covered", dt.date(2024, 11, 1), dt.date(2025, 3, 1)),
                 ("lapsed", dt.date(2025, 3, 1), dt.date(2025, 4, 20)))],
            shown.CARTRIDGE_SPANS,
        ),
        "water_values": frame(
            [row for claim in claims for row in water_values(claim)], shown.WATER_VALUES
        ),
        "units": frame(
            [
                {"serial": serial, "clock_source": "installed_on", "water_profile": "mixed"}
                for serial in serials
            ],
            shown.UNITS,
        ),
        "water_profiles": frame(
            [{"sample": "LAB-1", "profile": "scale-forming", "doubts": ["TDS below hardness"]}],
            shown.WATER_PROFILES,
        ),
        "upcoming": frame(
            [{"serial": serials[n % len(serials)], "site": f"K-{n:05}", "region": REGIONS[n % 3],
              "matter": matter, "due_on": AS_OF + dt.timedelta(days=n * 5 - 5),
              "days_left": n * 5 - 5, "at_stake": "cover of scale failures; the acid is strong",
              "site_name": f"Kitchen {n}",
              "sentence": f"Do what is due ({matter}). The acid is strong."}
             for n, matter in enumerate(codes.MATTERS)],
            shown.UPCOMING,
        ),
        "arrivals": frame(
            [{"feed": "service_calls", "file": "service_calls/calls.csv", "rows_read": count + 3,
              "records": count, "set_aside": 1}],
            shown.ARRIVALS,
        ),
        "row_accounts": frame(
            [{"feed": "service_calls", "file": "service_calls/calls.csv", "sha256": "0" * 64,
              "through_date": AS_OF, "rows_read": count + 3, "records": count, "superseded": 1,
              "duplicates": 1, "set_aside": 1}],
            shown.ROW_ACCOUNTS,
        ),
        "set_aside": frame(
            [{"feed": "service_calls", "file": "service_calls/calls.csv", "line": 9,
              "column": "opened_on", "value": SCRIPT, "rule": "impossible_date",
              "reason": "There is no such day."}],
            shown.SET_ASIDE,
        ),
        "feeds": frame(
            [{"feed": feed, "through_date": AS_OF, "stale": feed == "startups"}
             for feed in codes.FEEDS],
            shown.FEEDS,
        ),
        "night_checks": frame(
            [{"check": "freshness", "subject": "startups", "passed": False, "observed": 80.0,
              "high": 45.0, "statistic": "days", "sentence": "startups is old."},
             {"check": "claim_count", "subject": "claims", "passed": None, "observed": 3.0,
              "statistic": "limits", "sentence": "Too few weeks."},
             {"check": "laboratory_values", "subject": f"{SCRIPT}: ph", "passed": False,
              "observed": 6.1, "statistic": "rank sum", "sentence": f"{SCRIPT} has moved."},
             {"check": "laboratory_values", "subject": "Dale Water: ph", "passed": True,
              "observed": 7.4, "statistic": "rank sum", "sentence": "Dale Water is as it was."}],
            shown.NIGHT_CHECKS,
        ),
        "suggestions": frame(
            [{"feed": "service_calls", "file": "service_calls/calls.csv", "line": 4,
              "serial": "BOOO1", "suggestion": "B0001"}],
            shown.SUGGESTIONS,
        ),
        "regions": frame(
            [{"region": region, "name": name, "tile_row": 3.0, "tile_col": float(col)}
             for col, (region, name) in enumerate(
                 zip(REGIONS, ("Colorado", "Kansas", "New Mexico"), strict=True))],
            shown.REGIONS,
        ),
        "agencies": frame(
            [{"agency": f"AGENCY{n}", "name": f"Fennel Repair {n}"} for n in range(7)],
            shown.AGENCIES,
        ),
        "causes": frame([{"cause": "LIMED", "description": "generator limed up"}], shown.CAUSES),
        **suggested_causes(),
        "figures": figures(),
        "tables": ("decisions.csv", "decisions.parquet", "findings.parquet"),
        **terms(),
    }  # fmt: skip
    parts |= {"refreshed_at": REFRESHED_AT, "hide": ()} | changes
    parts.setdefault("worklist", in_order(parts["decisions"], parts["findings"]))
    parts.setdefault("next_steps", steps(claims))
    parts.setdefault("searched", searched(decisions))
    return shown.PageData(
        maker="Tarnfell", as_of=AS_OF, timezone="America/Denver", currency="USD", **parts
    )


def in_order(decisions: pl.DataFrame, findings: pl.DataFrame, **more: Any) -> pl.DataFrame:
    """The claims in working order, as a refresh hands them to the pages."""
    return order_claims(decisions, AS_OF, reasons=findings, originals=decisions, **more)


def steps(claims: list[str]) -> pl.DataFrame:
    """One next step a claim, with a command."""
    rows = [
        {"claim": claim, "action": "rule", "label": f"Rule on {claim}. {SCRIPT}",
         "command": f"limeledger rule '{claim}' covered --by \"$USER\" --reason 'x'"}
        for claim in claims
    ]  # fmt: skip
    return pl.DataFrame(rows, schema=NEXT_STEPS)


def searched(decisions: list[dict[str, Any]]) -> pl.DataFrame:
    """What the search looks through: the claims, and one row set aside."""
    rows = [
        {"kind": "claim", "claim": row["claim"], "call": row["call"], "serial": row["serial"],
         "verdict": row["verdict"], "failed_on": row["failed_on"],
         "fields": [row["claim"], row["call"], row["serial"], row["agency"], row["site"],
                    row["site_name"]]}
        for row in decisions
    ]  # fmt: skip
    rows.append(
        {"kind": "set_aside", "feed": "service_calls", "file": "service_calls/calls.csv",
         "line": 9, "reason": "There is no such day.", "fields": ["CALL-LOST", SCRIPT]}
    )  # fmt: skip
    return frame(rows, SEARCHED)


def suggested_causes() -> dict[str, pl.DataFrame]:
    """A suggestion of each kind, with hostile words, and figures of a small model."""
    suggestion = {"serial": "B24-1", "opened_on": dt.date(2026, 2, 3), "source": "both"}
    rows = [
        suggestion
        | {"call": "CALL-1", "claim": claim_number(2), "kind": "notes say otherwise",
           "recorded_cause": "BOARD", "recorded_class": "electrical", "suggested_class": "scale",
           "probability": 0.96, "recorded_probability": 0.004,
           "words": ["part heater +2.10", f"phrase “{SCRIPT}” +1.40", "crust +0.90"]},
        suggestion
        | {"call": FORMULA, "claim": claim_number(1), "kind": "no cause", "suggested_class": "gas",
           "probability": 0.71, "words": ["igniter +1.20"], "note": "Its phrases point to wear."},
        suggestion
        | {"call": "CALL-3", "claim": claim_number(3), "kind": "unknown cause",
           "recorded_cause": "OTHER", "suggested_class": "wear", "source": "phrases",
           "words": ["“hinge” of weight 0.7"]},
    ]  # fmt: skip
    whole = {
        "cause_class": "all", "calls": 200, "suggested": 200, "right": 180, "precision": 0.9,
        "precision_low": 0.85, "precision_high": 0.938, "recall": 0.9, "recall_low": 0.85,
        "recall_high": 0.938, "offered": 190, "offered_right": 175, "brier_score": 0.151,
        "expected_calibration_error": 0.012, "phrase_calls": 20, "phrase_right": 19,
        "trained_on": 200,
    }  # fmt: skip
    counts = {"offered": 0, "offered_right": 0, "phrase_calls": 0, "phrase_right": 0}
    few = {"cause_class": "wear", "calls": 3, "suggested": 0, "right": 0, "trained_on": 200}
    few |= {"recall": 0.0, "recall_low": 0.0, "recall_high": 0.7, "note": "Fewer than 5 calls."}
    bins = [
        {"probability_from": 0.9, "probability_to": 1.0, "calls": 150, "right": 147,
         "mean_probability": 0.97, "share_right": 0.98, "low": 0.94, "high": 0.996},
        {"probability_from": 0.0, "probability_to": 0.1, "calls": 0, "right": 0},
    ]  # fmt: skip
    pairs = [
        {"recorded_class": one, "suggested_class": other, "calls": 90 * (one == other)}
        for one in CLASSES
        for other in CLASSES
    ]
    return {
        "cause_suggestions": frame(rows, shown.CAUSE_SUGGESTIONS),
        "cause_model_quality": frame([whole, counts | few], shown.CAUSE_MODEL_QUALITY),
        "cause_reliability": frame(bins, shown.CAUSE_RELIABILITY),
        "cause_confusion": frame(pairs, shown.CAUSE_CONFUSION),
    }


def terms() -> dict[str, pl.DataFrame]:
    """Two editions for two families, of which one differs in its second edition."""
    value = {
        "effective_from": dt.date(2023, 1, 1), "clock_order": ["installed_on", "purchased_on"],
        "days_after_shipment": 60, "latest_days_after_shipment": None, "parts_months": 18,
        "labor_months": 12, "request_within_days": 30, "bonus_parts_months": 12,
        "bonus_labor_months": 12, "file_within_days": 60, "duplicate_within_days": 3,
        "workmanship_days": 90, "documents_within_days": 30,
        "panel": ["hardness_mg_l_caco3", "ph"], "sellers": ["TARNFELL"],
        "grace_days": 30, "fresh_days": None, "must_report": [], "two_lines_above_f": None,
        "two_lines_when_treated": False, "judged_by": "water", "cartridge_months_mild": 9,
        "cartridge_months_normal": 6, "cartridge_months_severe": 3, "mild_up_to": 1.0,
        "severe_above": 2.0, "cartridge_grace_days": 15, "look_back_months": None,
        "delime_months": 3, "delime_grace_days": 10, "conditions_off": [],
    }  # fmt: skip
    second = {
        "effective_from": dt.date(2025, 1, 1),
        "parts_months": 24,
        "conditions_off": ["earlier_repair_held"],
    }
    rows = [
        value | {"edition": edition, "family": family} | more
        for family in FAMILIES
        for edition, more in (("A", {}), ("B", second))
    ]
    water = [
        {"edition": edition, "family": family, "analyte": "hardness_mg_l_caco3", "min": None,
         "max": 60.0, "needs": "scale"}
        for edition in "AB"
        for family in FAMILIES
    ]  # fmt: skip
    installation = [
        {"edition": edition, "family": family, "reading": "gas_pressure_in_wc", "gas": "natural",
         "min": 4.5, "max": 13.0}
        for edition in "AB"
        for family in FAMILIES
    ]  # fmt: skip
    return {
        "terms_values": pl.DataFrame(rows, infer_schema_length=None),
        "terms_water_limits": pl.DataFrame(water),
        "terms_installation_limits": pl.DataFrame(installation),
    }
