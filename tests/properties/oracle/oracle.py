"""The rules read a second time, one claim at a time, in plain Python.

Belongs here: each sentence of the page on decisions as directly as it can be said; the numbers in
comments are the page's. Does not belong here: speed, wording, evidence lists, or any code of the
pipelines.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal

from dateutil.relativedelta import relativedelta

from tests.properties.oracle.water_oracle import judge_water
from tests.properties.oracle.world import Row, World, as_known, merged

CONDITIONS = (
    "unit_on_register",
    "terms_in_force",
    "records_agree",
    "filed_in_time",
    "agency_authorized",
    "only_claim_for_failure",
    "earlier_repair_held",
    "startup_requested_in_time",
    "startup_completed",
    "within_parts_window",
    "within_labor_window",
    "cause_established",
    "cause_not_excluded",
    "installation_sound",
    "water_tested",
    "treatment_bought_new",
    "treatment_suits_water",
    "treatment_installed",
    "treatment_maintained",
    "delimed",
)
WINDOWS = CONDITIONS[7:11]
NOTHING = Decimal("0.00")


@dataclass
class Decision:
    """What the oracle says of one claim; `marks` tell which turns of the rules it came through."""

    claim: str
    call: str
    serial: str
    failed_on: date
    findings: dict[str, str]
    verdict: str
    lead_reason: str | None
    claimed: tuple[Decimal, ...]
    payable: tuple[Decimal, ...]
    ruling: str | None
    standing: str
    standing_money: tuple[Decimal, ...]
    edition: str | None = None
    clock_start: date | None = None
    parts_base_end: date | None = None
    parts_extended_end: date | None = None
    labor_base_end: date | None = None
    labor_extended_end: date | None = None
    severity: str | None = None
    marks: set[str] = field(default_factory=set)


def days(count: int) -> timedelta:
    """A span of days."""
    return timedelta(days=count)


def add_months(day: date, months: int) -> date:
    """The same day of the month, so many months on, at most that month's last day; one step."""
    return day + relativedelta(months=months)


def decide_world(world: World) -> dict[str, Decision]:
    """Every claim of the world, by its number."""
    known = as_known(world)
    return {
        call["claim"]: decide_claim(known, call)
        for call in known.records["service_calls"]
        if call["kind"] == "repair" and call["claim"] is not None
    }


def failure_date(call: Row) -> date:
    """The failure date d: failed_on, else opened_on."""
    return call["failed_on"] if call["failed_on"] is not None else call["opened_on"]


def find_edition(known: World, unit: Row) -> dict | None:
    """The latest edition that begins on or before the purchase (the shipment where none)."""
    day = unit["purchased_on"] if unit["purchased_on"] is not None else unit["shipped_on"]
    before = [edition for edition in known.editions if edition["effective_from"] <= day]
    return max(before, key=lambda edition: edition["effective_from"]) if before else None


def find_clock(terms: dict, unit: Row) -> date:
    """The day on which the unit's warranty starts to run."""
    rules = terms["clock"]
    clock = unit["shipped_on"] + days(rules["days_after_shipment"])
    for name in rules["start"]:
        if unit[name] is not None:
            clock = unit[name]
            break
    if "latest_days_after_shipment" in rules:
        clock = min(clock, unit["shipped_on"] + days(rules["latest_days_after_shipment"]))
    return clock


def decide_claim(known: World, call: Row) -> Decision:
    """One claim: findings, verdict, money, and what stands."""
    d = failure_date(call)
    marks: set[str] = set()
    findings: dict[str, str] = {}
    facts: dict = {}
    unit = next((u for u in known.records["units"] if u["serial"] == call["serial"]), None)
    edition = find_edition(known, unit) if unit is not None else None
    if unit is None:
        # 1. Not on the register: unknown, and everything else is not evaluated.
        findings = dict.fromkeys(CONDITIONS, "not_evaluated") | {"unit_on_register": "unknown"}
    elif edition is None:
        # 2. No edition: unknown, everything after is not evaluated.
        findings = dict.fromkeys(CONDITIONS, "not_evaluated")
        findings |= {"unit_on_register": "met", "terms_in_force": "unknown"}
    else:
        model = next(m for m in known.reference["models"] if m["model"] == unit["model"])
        terms = merged(edition, model["family"])
        findings, facts = judge(known, call, unit, model, terms, d, marks)
        facts["edition"] = edition["edition"]
    verdict, lead = add_up(findings)
    payable, if_covered = money(known, call, d, findings, verdict, marks)
    ruling = latest_ruling(known, call["claim"], marks)
    standing, standing_money = what_stands(ruling, verdict, payable, if_covered, marks)
    return Decision(
        claim=call["claim"],
        call=call["call"],
        serial=call["serial"],
        failed_on=d,
        findings=findings,
        verdict=verdict,
        lead_reason=lead,
        claimed=claimed(call),
        payable=payable,
        ruling=ruling["ruling"] if ruling else None,
        standing=standing,
        standing_money=standing_money,
        marks=marks,
        **facts,
    )


def judge(
    known: World, call: Row, unit: Row, model: Row, terms: dict, d: date, marks: set[str]
) -> tuple[dict[str, str], dict]:
    """All findings of a claim whose unit is known and has terms, and the facts beside them."""
    off = set(terms.get("conditions_off", []))
    clock = find_clock(terms, unit)
    coverage, startup = terms["coverage"], terms["startup"]
    ends = {}
    for line in ("parts", "labor"):
        months = coverage[f"{line}_months"]
        ends[f"{line}_base_end"] = add_months(clock, months)
        bonus = startup[f"bonus_{line}_months"]
        ends[f"{line}_extended_end"] = add_months(clock, months + bonus)
    reports = [s for s in known.records["startups"] if s["serial"] == unit["serial"]]

    would: dict[str, str] = {"unit_on_register": "met", "terms_in_force": "met"}
    would["records_agree"] = records_agree(call, unit, reports, clock, d, marks)
    would["filed_in_time"] = filed_in_time(call, terms)
    would["agency_authorized"] = agency_authorized(known, call, d)
    twins = same_failure(known, call, terms, d)
    would["only_claim_for_failure"] = only_claim(call, twins)
    would["earlier_repair_held"] = earlier_repair_held(known, call, terms, d, twins, marks)
    would |= windows(known, unit, reports, terms, clock, ends, d, off, marks)

    severity = None
    cause = next((c for c in known.reference["causes"] if c["cause"] == call["cause"]), None)
    if cause is None:
        # 12. Then 13-20 are not evaluated.
        would["cause_established"] = "unknown"
        would |= dict.fromkeys(CONDITIONS[12:], "not_evaluated")
    else:
        would["cause_established"] = "met"
        would["cause_not_excluded"] = "unmet" if cause["excluded"] else "met"
        would["installation_sound"] = installation_sound(reports, cause, terms, d, marks)
        water, severity = judge_water(known, unit, model, cause, terms, clock, d, marks)
        would |= water

    # A condition that an edition switches off is not needed, whatever else holds.
    findings = {name: "not_needed" if name in off else would[name] for name in CONDITIONS}
    return findings, {"clock_start": clock, "severity": severity, **ends}


def records_agree(
    call: Row, unit: Row, reports: list[Row], clock: date, d: date, marks: set[str]
) -> str:
    """3. Disputed if any of these contradictions holds."""
    contradictions = {
        "failed before shipment": d < unit["shipped_on"],
        "installed before shipment": before(unit["installed_on"], unit["shipped_on"]),
        "failed before the clock": d < clock,
        "failed after retirement": before(unit["retired_on"], d),
        "start-up before shipment": any(
            before(s["completed_on"], unit["shipped_on"]) for s in reports
        ),
        "failed after opening": before(call["opened_on"], call["failed_on"]),
        "claimed before failure": before(call["claimed_on"], d),
        "completed before opening": before(call["completed_on"], call["opened_on"]),
    }
    found = {f"3: {name}" for name, holds in contradictions.items() if holds}
    marks |= found if len(found) == 1 else set()
    return "disputed" if found else "met"


def before(day: date | None, other: date | None) -> bool:
    """Whether both days are known and the first is before the second."""
    return day is not None and other is not None and day < other


def filed_in_time(call: Row, terms: dict) -> str:
    """4. Filed within so many days of completion."""
    if call["claimed_on"] is None or call["completed_on"] is None:
        return "unknown"
    last = call["completed_on"] + days(terms["claims"]["file_within_days"])
    return "met" if call["claimed_on"] <= last else "unmet"


def agency_in_force(known: World, call: Row, d: date) -> Row | None:
    """5. The agency's row in force on the day of completion, else on d."""
    day = call["completed_on"] if call["completed_on"] is not None else d
    for row in known.reference["agencies"]:
        if row["agency"] == call["agency"] and row["authorized_from"] <= day:
            until = row["authorized_until"]
            if until is None or day <= until:
                return row
    return None


def agency_authorized(known: World, call: Row, d: date) -> str:
    """5. No agency on the call is unknown; not in the file or outside is unmet."""
    if call["agency"] is None:
        return "unknown"
    return "met" if agency_in_force(known, call, d) is not None else "unmet"


def same_failure(known: World, call: Row, terms: dict, d: date) -> list[Row]:
    """6. Other claims, same serial and cause (both given), failure dates near enough."""
    return [
        other
        for other in known.records["service_calls"]
        if other["kind"] == "repair"
        and other["claim"] is not None
        and other["claim"] != call["claim"]
        and other["serial"] == call["serial"]
        and call["cause"] is not None
        and other["cause"] == call["cause"]
        and abs((failure_date(other) - d).days) <= terms["claims"]["duplicate_within_days"]
    ]


def only_claim(call: Row, twins: list[Row]) -> str:
    """6. Disputed where one of them comes earlier; a missing claimed_on comes last."""

    def place(claim: Row) -> tuple:
        return (claim["claimed_on"] or date.max, claim["claim"])

    return "disputed" if any(place(other) < place(call) for other in twins) else "met"


def earlier_repair_held(
    known: World, call: Row, terms: dict, d: date, twins: list[Row], marks: set[str]
) -> str:
    """7. An earlier repair, same serial, cause and agency (given), that did not hold."""
    twin_calls = {other["call"] for other in twins}
    outcome = "met"
    for other in known.records["service_calls"]:
        if (
            other["kind"] == "repair"
            and other["call"] != call["call"]
            and other["serial"] == call["serial"]
            and call["cause"] is not None
            and other["cause"] == call["cause"]
            and call["agency"] is not None
            and other["agency"] == call["agency"]
            and other["completed_on"] is not None
            and other["completed_on"] <= d
            and d <= other["completed_on"] + days(terms["claims"]["workmanship_days"])
        ):
            if other["call"] in twin_calls:
                marks.add("7: a twin is not counted")
                continue
            marks.add("7: with a claim" if other["claim"] else "7: without a claim")
            outcome = "disputed"
    return outcome


def windows(
    known: World,
    unit: Row,
    reports: list[Row],
    terms: dict,
    clock: date,
    ends: dict[str, date],
    d: date,
    off: set[str],
    marks: set[str],
) -> dict[str, str]:
    """8 to 11."""
    if d < clock:
        return dict.fromkeys(WINDOWS, "not_evaluated")
    requested = requested_in_time(known, unit, reports, terms, clock, marks)
    completed = startup_completed(known, reports, d)
    # In "earned" a condition that is switched off counts as met.
    parts_of_earned = [
        "met" if "startup_requested_in_time" in off else requested,
        "met" if "startup_completed" in off else completed,
    ]
    earned = worst(parts_of_earned)
    if len(set(parts_of_earned)) == 2:
        marks.add("earned: " + " and ".join(sorted(parts_of_earned)))
    out = {}
    between = False
    for line in ("parts", "labor"):
        base, extended = ends[f"{line}_base_end"], ends[f"{line}_extended_end"]
        if d < base:
            out[f"within_{line}_window"] = "met"
        elif d >= extended:
            out[f"within_{line}_window"] = "unmet"
        else:
            between = True
            out[f"within_{line}_window"] = earned
    # 8 and 9 are not needed unless d lies between base and extended end of a window.
    out["startup_requested_in_time"] = requested if between else "not_needed"
    out["startup_completed"] = completed if between else "not_needed"
    return out


def worst(outcomes: list[str]) -> str:
    """Any unmet is unmet; else any unknown is unknown; else met."""
    if "unmet" in outcomes:
        return "unmet"
    return "unknown" if "unknown" in outcomes else "met"


def reaches(known: World, feed: str, day: date) -> bool:
    """Whether the feed is known to be complete up to the day."""
    through = known.through.get(feed)
    return through is not None and through >= day


def requested_in_time(
    known: World, unit: Row, reports: list[Row], terms: dict, clock: date, marks: set[str]
) -> str:
    """8. The earliest request, counted from the purchase (from the clock where there is none)."""
    start = unit["purchased_on"] if unit["purchased_on"] is not None else clock
    within = terms["startup"]["request_within_days"]
    if not reports:
        return "unmet" if reaches(known, "startups", start + days(within)) else "unknown"
    # A report without a request date counts with its completion.
    dates = [s["requested_on"] or s["completed_on"] for s in reports]
    dates = [day for day in dates if day is not None]
    if dates and (min(dates) - start).days <= within:
        if min(dates) < start:
            marks.add("8: before purchase")
        return "met"
    return "unknown" if any(s["requested_on"] is None for s in reports) else "unmet"


def startup_completed(known: World, reports: list[Row], d: date) -> str:
    """9. The earliest completion, by d."""
    dates = [s["completed_on"] for s in reports if s["completed_on"] is not None]
    if dates:
        return "met" if min(dates) <= d else "unmet"
    return "unmet" if reaches(known, "startups", d) else "unknown"


def installation_sound(
    reports: list[Row], cause: Row, terms: dict, d: date, marks: set[str]
) -> str:
    """14. The reading that the cause names, at the last start-up completed by d."""
    reading = cause["reading"]
    if reading is None:
        return "not_needed"
    done = [s for s in reports if s["completed_on"] is not None and s["completed_on"] <= d]
    if not done:
        return "not_evaluated"
    report = max(done, key=lambda s: (s["completed_on"], s["report"]))
    value = report[reading]
    if value is None:
        return "not_evaluated"
    if reading in ("level", "under_hood"):
        marks.add(f"14: {reading}")
        return "met" if value else "unmet"
    limit = terms.get("installation", {}).get("limits", {}).get(reading)
    if limit is not None and reading == "gas_pressure_in_wc":
        limit = limit.get(report["gas"])
    if limit is None:
        marks.add("14: no limit")
        return "not_evaluated"
    marks.add(f"14: {reading}")
    low = "min" not in limit or value >= limit["min"]
    high = "max" not in limit or value <= limit["max"]
    return "met" if low and high else "unmet"


def add_up(findings: dict[str, str]) -> tuple[str, str | None]:
    """The verdict and its lead reason."""

    def first(outcome: str) -> str:
        return next(name for name in CONDITIONS if findings[name] == outcome)

    if "disputed" in findings.values():
        return "needs_review", first("disputed")
    common = [findings[name] for name in CONDITIONS if name not in WINDOWS]
    parts = worst([*common, findings["within_parts_window"]])
    labor = worst([*common, findings["within_labor_window"]])
    if parts == labor == "unmet":
        return "not_covered", first("unmet")
    if parts == labor == "met":
        return "covered", None
    if {parts, labor} == {"met", "unmet"}:
        line = "parts" if parts == "unmet" else "labor"
        return "covered_in_part", f"within_{line}_window"
    return "needs_evidence", first("unknown")


def to_cents(amount: Decimal) -> Decimal:
    """To the cent, half away from zero."""
    return amount.quantize(Decimal("0.01"), rounding=ROUND_HALF_UP)


def claimed(call: Row) -> tuple[Decimal, ...]:
    """What was claimed for parts, labor and travel; a missing amount counts as 0."""
    parts, hours, rate, travel = (
        call[name] if call[name] is not None else Decimal(0)
        for name in ("parts_amount", "labor_hours", "labor_rate", "travel_amount")
    )
    return to_cents(parts), to_cents(hours * rate), to_cents(travel)


def money(
    known: World, call: Row, d: date, findings: dict[str, str], verdict: str, marks: set[str]
) -> tuple[tuple[Decimal, ...], tuple[Decimal, ...]]:
    """What the computed verdict pays (parts, labor, travel), and what a covered claim would pay."""
    cause = next((c for c in known.reference["causes"] if c["cause"] == call["cause"]), None)
    agency = agency_in_force(known, call, d)

    def capped(amount: Decimal | None, cap: Decimal | None) -> Decimal:
        if amount is None:
            return Decimal(0)  # A missing amount counts as 0.
        return amount if cap is None else min(amount, cap)  # A cap not on file does not bind.

    hours = capped(call["labor_hours"], cause["labor_hours_allowed"] if cause else None)
    rate = capped(call["labor_rate"], agency["labor_rate"] if agency else None)
    exact = (
        capped(call["parts_amount"], None),
        hours * rate,
        capped(call["travel_amount"], agency["travel_cap"] if agency else None),
    )
    if any((amount * 1000) % 10 == 5 for amount in exact):
        marks.add("money: half a cent")
    full = tuple(to_cents(amount) for amount in exact)
    if verdict == "covered":
        return full, full
    if verdict == "covered_in_part":
        if findings["within_parts_window"] == "unmet":
            return (NOTHING, full[1], full[2]), full
        return (full[0], NOTHING, NOTHING), full
    return (NOTHING, NOTHING, NOTHING), full


def latest_ruling(known: World, claim: str, marks: set[str]) -> Row | None:
    """The latest ruling on the claim."""
    rulings = [row for row in known.records["rulings"] if row["claim"] == claim]
    if len(rulings) > 1:
        marks.add("ruling: several")
    return max(rulings, key=lambda row: row["ruled_at"]) if rulings else None


def what_stands(
    ruling: Row | None,
    verdict: str,
    payable: tuple[Decimal, ...],
    if_covered: tuple[Decimal, ...],
    marks: set[str],
) -> tuple[str, tuple[Decimal, ...]]:
    """The standing verdict and money, line by line."""
    if ruling is None:
        return verdict, payable
    marks.add(f"ruling: {ruling['ruling']} on {verdict}")
    by_verdict = {
        "covered": if_covered,
        "covered_in_part": payable,
        "not_covered": (NOTHING, NOTHING, NOTHING),
    }[ruling["ruling"]]
    own = (ruling["parts_amount"], ruling["labor_amount"], ruling["travel_amount"])
    return ruling["ruling"], tuple(
        to_cents(given) if given is not None else other
        for given, other in zip(own, by_verdict, strict=True)
    )
