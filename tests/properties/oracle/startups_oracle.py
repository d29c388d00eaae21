"""Reviews, recommendations and journeys read a second time, one unit and one day at a time.

Belongs here: the page on start-ups, sentence by sentence, in plain Python. Does not belong here:
speed, wording, or any code of the pipelines.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import combinations as subsets

from tests.properties.oracle.oracle import find_clock, find_edition, requested_in_time
from tests.properties.oracle.water_oracle import (
    belongs,
    counting,
    how_severe,
    installation_date,
    is_complete,
    is_good,
    lapses_by_changes,
    lapses_by_stock,
    reported,
    what_it_needs,
)
from tests.properties.oracle.world import Row, World, merged

READINGS = {
    "flowing_pressure_psi": "psi",
    "static_pressure_psi": "psi",
    "supply_temperature_f": "F",
    "gas": None,
    "gas_pressure_in_wc": "in wc",
    "drain_air_gap_in": "in",
    "side_clearance_in": "in",
    "level": None,
    "under_hood": None,
    "water_lines": None,
    "sample_taken": None,
}
# What a recommendation lacks where there is no complete test.
WITHOUT_A_TEST = (
    "sample",
    "sampled_on",
    "reported_on",
    "needs",
    "severity",
    "recommended",
    "due_on",
    "days_left",
    "bought_on",
    "installed_on",
    "kept_until",
)
DAY = timedelta(days=1)
FOR_EVER = 4000  # days: no cartridge of these worlds lasts so long


@dataclass
class Unit:
    """A unit with what the page asks of it."""

    row: Row
    model: Row
    edition: str | None
    terms: dict | None
    clock: date | None
    replaced_on: date | None
    tests: list[Row]  # its supply tests
    complete: list[Row]  # the complete ones, the earliest first
    reports: list[Row]


def units_of(known: World) -> dict[str, Unit]:
    """Every unit of the register, by serial."""
    units = {}
    for row in known.records["units"]:
        model = next(m for m in known.reference["models"] if m["model"] == row["model"])
        edition = find_edition(known, row)
        terms = merged(edition, model["family"]) if edition else None
        tests = [
            test
            for test in known.records["water_tests"]
            if test["point"] == "supply" and test["sampled_on"] is not None and belongs(test, row)
        ]
        complete = [test for test in tests if terms and is_complete(test, terms["water"])]
        complete.sort(key=lambda t: (t["sampled_on"], reported(t), t["sample"]))
        units[row["serial"]] = Unit(
            row=row,
            model=model,
            edition=edition["edition"] if edition else None,
            terms=terms,
            clock=find_clock(terms, row) if terms else None,
            replaced_on=None,
            tests=tests if terms else [],
            complete=complete,
            reports=[s for s in known.records["startups"] if s["serial"] == row["serial"]],
        )
    for unit in units.values():
        before = units.get(unit.row.get("replaces") or "")
        if before is not None and unit.clock is not None:
            earlier = before.replaced_on or unit.clock
            before.replaced_on = min(earlier, unit.clock)
    return units


# Reviews


def plain(value: object) -> str | None:
    """A value as it is reported."""
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = str(float(value))  # type: ignore[arg-type]
    return text.removesuffix(".0")


def needs_two_lines(known: World, unit: Unit, report: Row) -> bool:
    """Whether two water lines are needed."""
    rules = (unit.terms or {}).get("installation", {})
    above, warm = rules.get("two_lines_above_f"), report["supply_temperature_f"]
    if above is not None and warm is not None and warm > above:
        return True
    if not rules.get("two_lines_when_treated", False):
        return False
    if report["treatment_product"] is not None:
        return True
    systems = [t["product"] for t in known.reference["treatments"] if t["kind"] == "system"]
    dates = [installation_date(known, unit.row, neighbors(known, unit), name) for name in systems]
    return any(day is not None and day <= report["completed_on"] for day in dates)


def neighbors(known: World, unit: Unit) -> set[str]:
    """The unit and the others at its site."""
    site = unit.row["site"]
    at_site = {u["serial"] for u in known.records["units"] if site and u["site"] == site}
    return at_site | {unit.row["serial"]}


def findings_of(known: World, unit: Unit, report: Row) -> dict[str, tuple]:
    """By reading: value, unit, limit_min, limit_max, outcome."""
    rules = (unit.terms or {}).get("installation", {})
    must, limits = rules.get("must_report", []), rules.get("limits", {})
    found = {}
    for reading, of in READINGS.items():
        value, gas = report[reading], report["gas"]
        limit = limits.get(reading)
        if reading == "gas_pressure_in_wc":
            if gas in (None, "none"):
                continue
            limit = (limit or {}).get(gas)
        row = reading in must or limit is not None
        if reading in ("level", "under_hood"):
            row, limit = row or value is not None, None
        if reading == "water_lines":
            row = reading in must
            if needs_two_lines(known, unit, report):
                row, limit = True, {"min": 2}
        if not row:
            continue
        low, high = (limit or {}).get("min"), (limit or {}).get("max")
        if value is None:
            outcome = "not_reported"
        elif reading == "level":
            outcome = "sound" if value else "unsound"
        elif reading == "under_hood":
            no = "unsound" if gas in ("natural", "propane") else "to_check"
            outcome = "sound" if value else no
        elif low is None and high is None:
            outcome = "reported"
        else:
            inside = (low is None or value >= low) and (high is None or value <= high)
            outcome = "sound" if inside else "unsound"
        bounds = tuple(None if bound is None else float(bound) for bound in (low, high))
        found[reading] = (plain(value), of, *bounds, outcome)
    return found


def review_of(known: World, unit: Unit, report: Row) -> dict:
    """The review of one report."""
    found = findings_of(known, unit, report)
    must = (unit.terms or {}).get("installation", {}).get("must_report", [])
    faults = [name for name in READINGS if found.get(name, ())[-1:] == ("unsound",)]
    missing = [
        name for name in READINGS if name in must and found.get(name, ())[-1:] == ("not_reported",)
    ]
    done = [s for s in unit.reports if s["completed_on"] is not None]
    last = max(done, key=lambda s: (s["completed_on"], s["report"]))
    since = report["completed_on"] - 30 * DAY
    sample = next((t["sample"] for t in unit.complete if t["sampled_on"] >= since), None)
    return {
        "serial": unit.row["serial"],
        "edition": unit.edition,
        "latest": last["report"] == report["report"],
        "result": "unsound" if faults else "incomplete" if missing else "sound",
        "faults": "; ".join(faults) or None,
        "missing": "; ".join(missing) or None,
        "sample": sample,
    }


# Recommendations


def needs_by(unit: Unit, test: Row) -> set[str]:
    """What a test needs, judged by the water alone."""
    terms = {**unit.terms, "treatment": {**unit.terms["treatment"], "judged_by": "water"}}
    return what_it_needs(test, terms["water"].get("limits", {}), unit.model, {}, terms, set())


def bought_by(known: World, unit: Unit) -> list[Row]:
    """The unit's purchases."""
    return [
        p
        for p in known.records["treatment_purchases"]
        if p["serial"] == unit.row["serial"]
        or (p["serial"] is None and p["site"] is not None and p["site"] == unit.row["site"])
    ]


class Treatment:
    """The good systems of a unit, and whether its needs are met on a day."""

    def __init__(self, known: World, unit: Unit, test: Row) -> None:
        self.unit, self.test = unit, test
        self.products = {row["product"]: row for row in known.reference["treatments"]}
        self.needs = needs_by(unit, test)
        near = neighbors(known, unit)
        self.near = near
        good = [p for p in bought_by(known, unit) if is_good(p, unit.terms, known.as_of)]
        self.cartridges = [p for p in good if self.products[p["product"]]["kind"] == "cartridge"]
        systems = [p for p in good if self.products[p["product"]]["kind"] == "system"]
        self.bought: dict[str, date] = {}
        for p in systems:
            name = p["product"]
            self.bought[name] = min(self.bought.get(name, p["ordered_on"]), p["ordered_on"])
        dates = {name: installation_date(known, unit.row, near, name) for name in self.bought}
        self.installed = {name: day for name, day in dates.items() if day is not None}
        changes = [
            c
            for c in known.records["service_calls"]
            if c["kind"] == "cartridge_change" and c["serial"] in near
        ]
        self.changes = World({"service_calls": changes}, {}, [], {}, known.as_of)
        severity = how_severe(
            test, unit.terms["water"].get("limits", {}), unit.terms["maintenance"]
        )
        self.severity = severity
        self.months = unit.terms["maintenance"]["cartridge_months"][severity]

    def able(self, names: object) -> bool:
        """Whether the abilities of some systems include the needs."""
        return self.needs <= {a for name in names for a in self.products[name]["removes"]}

    def first_day(self, days: dict[str, date]) -> date | None:
        """The first day from which the systems that are there include the needs."""
        for day in sorted(set(days.values())):
            if self.needs and self.able([name for name, since in days.items() if since <= day]):
                return day
        return None

    def kept(self, d: date) -> bool:
        """Whether Kept on d includes the needs."""
        rules = self.unit.terms["maintenance"]
        names = []
        for name, since in self.installed.items():
            if since > d:
                continue
            fits = {row["product"] for row in self.products.values() if row["fits"] == name}
            own = [p for p in self.cartridges if p["product"] in fits and p["ordered_on"] <= d]
            ways = (
                lapses_by_changes(self.changes, self.near, name, since, self.months, rules, d),
                lapses_by_stock(own, since, self.months, rules, d),
            )
            if not fits or any(not counting(ended, rules, d) for ended in ways):
                names.append(name)
        return self.able(names)

    def kept_until(self, d: date) -> date | None:
        """The last day up to which Kept goes on to include the needs."""
        for ahead in range(1, FOR_EVER):
            if not self.kept(d + ahead * DAY):
                return d + (ahead - 1) * DAY
        return None

    def first_lapse(self, as_of: date) -> date | None:
        """The first day after the installation on which Kept does not include the needs."""
        installed = self.first_day(self.installed)
        if installed is None:
            return None
        for ahead in range(1, (as_of - installed).days + 1):
            if not self.kept(installed + ahead * DAY):
                return installed + ahead * DAY
        return None


def offered(known: World, needs: set[str]) -> list[tuple[str, ...]]:
    """Advice, 1: the combinations that serve, best first."""
    able = {
        t["product"]: set(t["removes"])
        - ({"chloramine"} if t["rated_output_l_per_h"] is not None else set())
        for t in known.reference["treatments"]
        if t["kind"] == "system"
    }
    served = needs & set().union(*able.values())
    found = []
    for count in range(1, len(served) + 1):
        for names in subsets(sorted(able), count):

            def does(chosen: object) -> bool:
                return served <= {a for name in chosen for a in able[name]}

            if does(names) and not any(does([n for n in names if n != one]) for one in names):
                extra = len({a for name in names for a in able[name]} - needs)
                found.append((count, extra, names))
    return [names for _, _, names in sorted(found)][:5]


def recommendation_of(known: World, unit: Unit, coverage_end: date | None) -> dict | None:
    """The recommendation of a unit; None where it has none."""
    d = known.as_of
    left = [day for day in (unit.row["retired_on"], unit.replaced_on) if day is not None]
    if not unit.model["needs_treatment"] or coverage_end is None or coverage_end <= d:
        return None
    if any(day <= d for day in left):
        return None
    nothing = dict.fromkeys(WITHOUT_A_TEST) | {
        "alternatives": [],
        "unmet": [],
        "edition": unit.edition,
    }
    done = [s for s in unit.reports if s["completed_on"] is not None]
    if not unit.complete:
        waiting = bool(unit.tests) or any(s["sample_taken"] for s in done)
        state = "waiting_for_result" if waiting else "no_sample" if done else "no_startup"
        return nothing | {"state": state}
    test = unit.complete[-1]
    held = Treatment(known, unit, test)
    r = max(min(reported(t) for t in unit.complete), unit.clock)
    due = r + unit.terms["treatment"]["grace_days"] * DAY
    choices = [" + ".join(names) for names in offered(known, held.needs)]
    can = {
        a
        for t in known.reference["treatments"]
        if t["kind"] == "system"
        for a in t["removes"]
        if not (a == "chloramine" and t["rated_output_l_per_h"] is not None)
    }
    if not held.needs:
        state = "none_needed"
    elif held.kept(d):
        state = "kept_up"
    elif held.able(held.installed):
        state = "lapsed"
    elif held.able(held.bought):
        state = "bought"
    elif held.bought:
        state = "unsuitable"
    elif held.needs - can:
        state = "nothing_serves"
    else:
        state = "overdue" if due < d else "open"
    return nothing | {
        "sample": test["sample"],
        "sampled_on": test["sampled_on"],
        "reported_on": reported(test),
        "needs": "+".join(sorted(held.needs)) or "none",
        "severity": held.severity,
        "state": state,
        "recommended": choices[0] if choices else None,
        "alternatives": choices[1:],
        "unmet": sorted(held.needs - can),
        "due_on": due,
        "days_left": (due - d).days,
        "bought_on": held.first_day(held.bought),
        "installed_on": held.first_day(held.installed),
        "kept_until": held.kept_until(d) if state == "kept_up" else None,
    }


# The way of a unit


def quarter(day: date) -> str:
    """The quarter of a day."""
    return f"{day.year}-Q{(day.month + 2) // 3}"


def journey_of(known: World, unit: Unit) -> dict:
    """The way of one unit."""
    done = [s for s in unit.reports if s["completed_on"] is not None]
    asked = [s["requested_on"] or s["completed_on"] for s in unit.reports]
    asked = [day for day in asked if day is not None]
    latest = max(done, key=lambda s: (s["completed_on"], s["report"])) if done else None
    in_time = None
    if unit.terms:
        off = "startup_requested_in_time" in unit.terms.get("conditions_off", [])
        in_time = (
            "met"
            if off
            else requested_in_time(known, unit.row, unit.reports, unit.terms, unit.clock, set())
        )
    told = {
        "purchased": quarter(unit.row["purchased_on"] or unit.row["shipped_on"]),
        "purchased_on": unit.row["purchased_on"],
        "requested_on": min(asked, default=None),
        "requested_in_time": in_time,
        "completed_on": min((s["completed_on"] for s in done), default=None),
        "installation": review_of(known, unit, latest)["result"] if latest else None,
        "agency": first_agency(unit),
        **dict.fromkeys(["sampled_on", "reported_on", "bought_on", "installed_on"]),
        "first_lapse_on": None,
        "needs_treatment": None if unit.model["needs_treatment"] else False,
    }
    if unit.complete:
        first = unit.complete[0]
        told |= {"sampled_on": first["sampled_on"], "reported_on": reported(first)}
        if unit.model["needs_treatment"]:
            held = Treatment(known, unit, first)
            told["needs_treatment"] = bool(held.needs)
            if held.needs:
                told["bought_on"] = held.first_day(held.bought)
                told["installed_on"] = held.first_day(held.installed)
                told["first_lapse_on"] = held.first_lapse(known.as_of)
    return told


def first_agency(unit: Unit) -> str | None:
    """The agency of the report completed first, else requested first, then the least report."""
    done = [s for s in unit.reports if s["completed_on"] is not None]
    if done:
        return min(done, key=lambda s: (s["completed_on"], s["report"]))["agency"]
    asked = [s for s in unit.reports if s["requested_on"] is not None]
    if asked:
        return min(asked, key=lambda s: (s["requested_on"], s["report"]))["agency"]
    return min(unit.reports, key=lambda s: s["report"])["agency"] if unit.reports else None
