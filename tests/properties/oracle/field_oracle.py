"""The page on field figures read a second time, one unit and one day at a time, in plain Python.

Belongs here: watch, water, treatment state and failures of every unit, and sums over them for any
group. Does not belong here: speed, or any code of the pipelines.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from math import exp, lgamma, log, sqrt
from statistics import NormalDist

from tests.properties.oracle.oracle import (
    Decision,
    add_months,
    failure_date,
    find_clock,
    find_edition,
    only_claim,
    requested_in_time,
    same_failure,
    worst,
)
from tests.properties.oracle.water_oracle import (
    belongs,
    how_severe,
    installation_date,
    is_complete,
    is_good,
    reading,
    reported,
)
from tests.properties.oracle.world import Row, World, as_known, merged

DAY = timedelta(days=1)
MONTH_DAYS = 30.4375
Z = 1.959963984540054
CLASS_OF_NEED = {
    "scale": "scale-forming",
    "chloride": "chloride",
    "silica": "silica",
    "chlorine": "chlorine",
    "chloramine": "chloramine",
    "sediment": "sediment",
    "ph": "acidic or alkaline",
    "tds": "high solids",
}


@dataclass
class Failure:
    """A failure inside the watch."""

    call: str
    day: date
    age: int
    cause_class: str
    water: bool
    cost: Decimal
    agency: str | None
    treatment: str = ""


@dataclass
class Life:
    """What is known of one unit; days are dates, `states` the treatment's on each day of watch."""

    serial: str
    family: str
    region: str
    startup: str
    clock: date | None = None
    clock_source: str | None = None
    unsound: bool = False
    coverage_end: date | None = None
    earned: str | None = None
    watched_from: date | None = None
    watched_until: date | None = None
    days: int = 0
    profile: str = "untested"
    needs: set[str] = field(default_factory=set)
    states: list[str] = field(default_factory=list)
    waters: list[tuple] = field(default_factory=list)
    failures: list[Failure] = field(default_factory=list)


def live_world(world: World, decisions: dict[str, Decision]) -> list[Life]:
    """Every unit on the register, as known on the as-of date."""
    known = as_known(world)
    return [live(known, unit, decisions) for unit in known.records["units"]]


def live(known: World, unit: Row, decisions: dict[str, Decision]) -> Life:
    """One unit."""
    model = next(m for m in known.reference["models"] if m["model"] == unit["model"])
    reports = [s for s in known.records["startups"] if s["serial"] == unit["serial"]]
    completed = min((s["completed_on"] for s in reports if s["completed_on"]), default=None)
    life = Life(
        unit["serial"],
        model["family"],
        unit["region"] or "unknown",
        "done" if completed else "not done",
    )
    edition = find_edition(known, unit)
    terms = merged(edition, model["family"]) if edition is not None else None
    tests = [
        test
        for test in known.records["water_tests"]
        if test["point"] == "supply" and belongs(test, unit)
    ]
    if tests:
        severity = judge_test(life, tests, terms)
    if terms is None:
        life.unsound = True
        return life
    find_watch(known, unit, life, terms, reports, completed)
    if life.watched_from is None:
        return life
    life.states = [
        state_on(known, unit, life, terms, severity if tests else "normal", day)
        for day in days_of(life)
    ]
    life.waters = [water_on(tests, terms, life.clock, day) for day in days_of(life)]
    life.failures = failures_of(known, unit, life, terms, decisions)
    return life


def water_on(
    tests: list[Row], terms: dict, clock: date, day: date
) -> tuple[str | None, str, str, dict[str, int]]:
    """The water of a day: sample, needs, severity and how far each analyte is from its maximum."""
    water = terms["water"]
    complete = [test for test in tests if is_complete(test, water)]
    told = [test for test in complete or tests if test["sampled_on"]]

    def place(test: Row) -> tuple:
        return (test["sampled_on"], reported(test), test["sample"])

    by_then = [test for test in told if test["sampled_on"] <= day]
    first_day = min((test["sampled_on"] for test in told), default=None)
    if not by_then and first_day is not None and first_day <= clock + 90 * DAY:
        by_then = [test for test in told if test["sampled_on"] == first_day]
    if not by_then:
        return (None, "untested", "untested", {})
    test = max(by_then, key=place)
    needs, classes = set(), {}
    for analyte, limit in water.get("limits", {}).items():
        value, below = reading(test, analyte)
        over = value is not None and "max" in limit and value > limit["max"]
        under = value is not None and "min" in limit and value < limit["min"]
        if over or under:
            needs.add(limit["needs"])
        if "max" in limit:
            if value is None and below is not None and below <= limit["max"]:
                value = below
            if value is not None:
                steps = [value * 2 > step * limit["max"] for step in (1, 2, 3, 4)]
                classes[analyte] = 1 + sum(steps)
    severity = how_severe(test, water.get("limits", {}), terms["maintenance"])
    return (test["sample"], "+".join(sorted(needs)) or "none", severity, classes)


def days_of(life: Life) -> list[date]:
    """The days of the watch."""
    return [life.watched_from + timedelta(days=n) for n in range(life.days)]


def judge_test(life: Life, tests: list[Row], terms: dict | None) -> str | None:
    """The class of the water and its severity, by the latest complete test, else the latest."""

    def place(test: Row) -> tuple:
        # A day of sampling that is not yet known is no late one.
        return (test["sampled_on"] or date.min, reported(test) or date.min, test["sample"])

    water = terms["water"] if terms else {"limits": {}, "panel": []}
    complete = [test for test in tests if is_complete(test, water)]
    if terms is None:
        complete = []
    test = max(complete or tests, key=place)
    limits = water.get("limits", {})
    for analyte, limit in limits.items():
        value, _ = reading(test, analyte)
        over = value is not None and "max" in limit and value > limit["max"]
        under = value is not None and "min" in limit and value < limit["min"]
        if over or under:
            life.needs.add(limit["needs"])
    if not life.needs:
        life.profile = "within limits"
    elif len(life.needs) == 1:
        life.profile = CLASS_OF_NEED[next(iter(life.needs))]
    else:
        life.profile = "mixed"
    return how_severe(test, limits, terms["maintenance"]) if terms else None


def find_watch(
    known: World, unit: Row, life: Life, terms: dict, reports: list[Row], completed: date | None
) -> None:
    """Clock, cover and watch."""
    life.clock = find_clock(terms, unit)
    rules = terms["clock"]
    named = next((name for name in rules["start"] if unit[name] is not None), "shipped_on")
    first = unit[named] if named in rules["start"] else None
    uncapped = first or unit["shipped_on"] + timedelta(days=rules["days_after_shipment"])
    life.clock_source = "latest_after_shipment" if life.clock < uncapped else named
    coverage, startup = terms["coverage"], terms["startup"]
    base = max(add_months(life.clock, coverage[f"{w}_months"]) for w in ("parts", "labor"))
    extended = max(
        add_months(life.clock, coverage[f"{w}_months"] + startup[f"bonus_{w}_months"])
        for w in ("parts", "labor")
    )
    off = terms.get("conditions_off", [])
    requested = requested_in_time(known, unit, reports, terms, life.clock, set())
    asked = "startup_requested_in_time" in off or requested == "met"
    done = "startup_completed" in off or (completed is not None and completed < base)
    life.coverage_end = extended if asked and done else base
    through = known.through.get("startups")
    by_now = "met" if completed else "unmet" if through and through >= known.as_of else "unknown"
    life.earned = worst(
        [
            "met" if "startup_requested_in_time" in off else requested,
            "met" if "startup_completed" in off else by_now,
        ]
    )
    installed, retired = unit["installed_on"], unit["retired_on"]
    life.unsound = (installed is not None and installed < unit["shipped_on"]) or (
        retired is not None and retired < life.clock
    )
    ends = [life.coverage_end, known.as_of + DAY] + ([retired + DAY] if retired else [])
    if not life.unsound and min(ends) > life.clock:
        life.watched_from, life.watched_until = life.clock, min(ends)
        life.days = (life.watched_until - life.watched_from).days


def failures_of(
    known: World, unit: Row, life: Life, terms: dict, decisions: dict[str, Decision]
) -> list[Failure]:
    """Repair calls inside the watch; a duplicate counts once."""
    found = []
    for call in known.records["service_calls"]:
        day = failure_date(call)
        if call["kind"] != "repair" or call["serial"] != unit["serial"]:
            continue
        if call["claim"] is not None:
            twins = same_failure(known, call, terms, day)
            if only_claim(call, twins) == "disputed":
                continue
        if not life.watched_from <= day < life.watched_until:
            continue
        cause = next((c for c in known.reference["causes"] if c["cause"] == call["cause"]), None)
        age = (day - life.watched_from).days
        paid = decisions[call["claim"]].payable if call["claim"] in decisions else (Decimal(0),)
        found.append(
            Failure(
                call["call"],
                day,
                age,
                cause["class"] if cause else "unknown",
                bool(cause and cause["water_related"]),
                sum(paid, Decimal(0)),
                call["agency"],
                life.states[age],
            )
        )
    return found


def state_on(
    known: World, unit: Row, life: Life, terms: dict, severity: str | None, day: date
) -> str:
    """The state of the treatment on one day of the watch."""
    if life.profile == "untested":
        return "untested"
    if not life.needs:
        return "not needed"
    products = {row["product"]: row for row in known.reference["treatments"]}
    bought = [
        p
        for p in known.records["treatment_purchases"]
        if (
            p["serial"] == unit["serial"]
            or (p["serial"] is None and p["site"] is not None and p["site"] == unit["site"])
        )
        and is_good(p, terms, day)
    ]
    neighbors = {unit["serial"]}
    if unit["site"] is not None:
        neighbors |= {u["serial"] for u in known.records["units"] if u["site"] == unit["site"]}
    fitted, kept = set(), set()
    months = terms["maintenance"]["cartridge_months"][severity]
    grace = timedelta(days=terms["maintenance"]["cartridge_grace_days"])
    for name in {p["product"] for p in bought if products[p["product"]]["kind"] == "system"}:
        installed = installation_date(known, unit, neighbors, name)
        if installed is None or installed > day:
            continue
        fitted.add(name)
        cartridges = {row["product"] for row in products.values() if row["fits"] == name}
        stock = [p for p in bought if p["product"] in cartridges]
        running = (
            day > changed_until(known, neighbors, name, installed, months, day) + grace,
            day > stocked_until(stock, installed, months) + grace,
        )
        if not cartridges or not all(running):
            kept.add(name)

    def able(names: set[str]) -> bool:
        return life.needs <= {ability for n in names for ability in products[n]["removes"]}

    if not able(fitted):
        return "untreated"
    return "treated" if able(kept) else "lapsed"


def changed_until(
    known: World, neighbors: set[str], product: str, installed: date, months: int, day: date
) -> date:
    """19. The day to which the last change by then lasts."""
    changes = [
        call["completed_on"]
        for call in known.records["service_calls"]
        if call["kind"] == "cartridge_change"
        and call["product"] == product
        and call["serial"] in neighbors
        and call["completed_on"] is not None
        and installed < call["completed_on"] <= day
    ]
    return add_months(max([installed, *changes]), months)


def stocked_until(stock: list[Row], installed: date, months: int) -> date:
    """19. The day to which the cartridges bought by then last."""
    until = add_months(installed, months)
    for purchase in sorted(stock, key=lambda p: (p["ordered_on"], p["order"], p["line"])):
        until = add_months(max(until, purchase["ordered_on"]), months * purchase["quantity"])
    return until


# What follows are sums over lives. A life whose days do not count has `days` 0.


def watched(lives: Iterable[Life]) -> list[Life]:
    """Those watched for a day or more."""
    return [life for life in lives if life.days > 0]


def rate(lives: list[Life], chosen: Callable[[Failure], bool]) -> dict[str, float]:
    """Failures, units, unit-years and the rate; robust limits by each unit's own residual."""
    there = watched(lives)
    counts = [sum(chosen(failure) for failure in life.failures) for life in there]
    return rate_of(counts, [life.days for life in there])


def rate_by_state(
    lives: list[Life], state: str, chosen: Callable[[Failure], bool]
) -> dict[str, float]:
    """The same for the days in one state of the treatment."""
    there = [life for life in lives if state in life.states]
    counts = [
        sum(chosen(failure) and failure.treatment == state for failure in life.failures)
        for life in there
    ]
    return rate_of(counts, [life.states.count(state) for life in there])


def rate_of(counts: list[int], days: list[int]) -> dict[str, float]:
    """Rate and both kinds of limits of units with so many failures and days each."""
    from scipy.stats import chi2

    failures, years = sum(counts), sum(days) / 365.25
    told = {"failures": failures, "units": len(days), "unit_years": years}
    told |= dict.fromkeys(("rate_per_100", "low", "high", "robust_low", "robust_high"))
    if not years:
        return told
    told["rate_per_100"] = 100 * failures / years
    told["low"] = 100 * chi2.ppf(0.025, 2 * failures) / 2 / years if failures else 0.0
    told["high"] = 100 * chi2.ppf(0.975, 2 * failures + 2) / 2 / years
    if failures and len(days) > 1:
        each = failures / years
        squares = sum((f - each * d / 365.25) ** 2 for f, d in zip(counts, days, strict=True))
        error = sqrt(len(days) / (len(days) - 1) * squares) / failures
        told["robust_low"], told["robust_high"] = (
            100 * each * exp(sign * Z * error) for sign in (-1, 1)
        )
    return told


def first(life: Life, chosen: Callable[[Failure], bool]) -> int | None:
    """The age at the first of the chosen failures."""
    return min((failure.age for failure in life.failures if chosen(failure)), default=None)


def survive(lives: list[Life], chosen: Callable[[Failure], bool], months: int) -> dict:
    """Kaplan-Meier at whole months, day by day."""
    end = months * MONTH_DAYS
    ages = {life.serial: first(life, chosen) for life in watched(lives)}
    survival, spread = 1.0, 0.0
    for day in range(int(end) + 1):
        failed = sum(age == day for age in ages.values())
        if failed:
            at_risk = sum(
                life.days >= day and (ages[life.serial] is None or ages[life.serial] >= day)
                for life in watched(lives)
            )
            survival *= 1 - failed / at_risk
            spread += failed / (at_risk * (at_risk - failed)) if at_risk > failed else 0.0
    told = {
        "at_risk": sum(
            life.days >= end and (ages[life.serial] is None or ages[life.serial] >= end)
            for life in watched(lives)
        ),
        "failures": sum(age is not None and age <= end for age in ages.values()),
        "survival": survival,
        "low": None,
        "high": None,
    }
    if not told["at_risk"] and survival > 0:
        return told | {"survival": None}
    if 0 < survival < 1:
        width = Z * sqrt(spread) / abs(log(survival))
        told["low"], told["high"] = (survival ** exp(sign * width) for sign in (1, -1))
    return told


def first_cause(lives: list[Life], cause_class: str | None, months: int) -> float:
    """Aalen-Johansen: the share whose first failure was of the class (None: of any)."""
    end = months * MONTH_DAYS
    there = watched(lives)
    firsts = {
        life.serial: min(life.failures, key=lambda failure: (failure.age, failure.call))
        for life in there
        if life.failures
    }
    surviving = share = 1.0
    share = 0.0
    for day in range(int(end) + 1):
        today = [failure for failure in firsts.values() if failure.age == day]
        if not today:
            continue
        at_risk = sum(
            life.days >= day and (life.serial not in firsts or firsts[life.serial].age >= day)
            for life in there
        )
        own = sum(cause_class in (None, failure.cause_class) for failure in today)
        share += surviving * own / at_risk
        surviving *= 1 - len(today) / at_risk
    return share


def mean_cumulative(
    lives: list[Life], chosen: Callable[[Failure], bool], months: int, *, cost: bool
) -> tuple[float, float]:
    """Mean count or cost a unit by whole months, and its robust error, unit by unit."""
    end = months * MONTH_DAYS
    there = watched(lives)
    events = [
        (life.serial, failure.age, float(failure.cost) if cost else 1.0)
        for life in there
        for failure in life.failures
        if chosen(failure) and failure.age <= end
    ]
    ages = sorted({age for _, age, _ in events})
    at_risk = {age: sum(life.days >= age for life in there) for age in ages}
    total = {age: sum(weight for _, a, weight in events if a == age) for age in ages}
    squares = 0.0
    for life in there:
        residual = sum(
            weight / at_risk[age] for serial, age, weight in events if serial == life.serial
        )
        residual -= sum(total[age] / at_risk[age] ** 2 for age in ages if life.days >= age)
        squares += residual**2
    return sum(total[age] / at_risk[age] for age in ages), sqrt(squares)


def stratum_of(life: Life) -> tuple[str, str]:
    """What the test behind its profile needs, and its family."""
    needs = "untested" if life.profile == "untested" else "+".join(sorted(life.needs))
    return needs, life.family


def mantel_haenszel(
    lives: list[Life], states: tuple[str, str], chosen: Callable[[Failure], bool]
) -> tuple[float, float, float] | None:
    """The ratio of two states' rates over needs x family, with Greenland and Robins's limits."""
    above = below = spread = 0.0
    for stratum in sorted({stratum_of(life) for life in lives}):
        own = [life for life in lives if stratum_of(life) == stratum]
        a, b = (rate_by_state(own, state, chosen) for state in states)
        t, u = a["unit_years"], b["unit_years"]
        if t + u == 0:
            continue
        above += a["failures"] * u / (t + u)
        below += b["failures"] * t / (t + u)
        spread += (a["failures"] + b["failures"]) * t * u / (t + u) ** 2
    if not above or not below:
        return None
    width = exp(Z * sqrt(spread / (above * below)))
    return above / below, above / below / width, above / below * width


def cohort_cell(
    lives: list[Life], cohort: str, months: int, chosen: Callable[[Failure], bool]
) -> tuple[int, int]:
    """Units that entered in the quarter, and their failures by so many months of age."""
    own = [life for life in watched(lives) if quarter(life.watched_from) == cohort]
    return len(own), sum(
        chosen(failure) and failure.age <= months * MONTH_DAYS
        for life in own
        for failure in life.failures
    )


def poisson_chance(count: int, mean: float) -> float:
    """The chance of at most so many."""
    return sum(exp(-mean + x * log(mean) - lgamma(x + 1)) for x in range(count + 1))


def funnel(regions: list[tuple[int, float]]) -> list[dict[str, float]]:
    """Limits of observed over expected, p and q of regions, widened by how far they differ.

    Args:
        regions: observed and expected failures of each.
    """
    ratios = sorted((o / e - 1) * sqrt(e) for o, e in regions)

    def between(share: float) -> float:
        place = share * (len(ratios) - 1)
        low = ratios[int(place)]
        return low + (place % 1) * (ratios[min(int(place) + 1, len(ratios) - 1)] - low)

    ends = between(0.1), between(0.9)
    drawn_in = [min(max(z, ends[0]), ends[1]) for z in ratios]
    spread = sqrt(max(1.0, sum(z * z for z in drawn_in) / len(drawn_in)))
    told = [widened(o, e, spread) for o, e in regions]
    ranked = sorted(range(len(told)), key=lambda place: told[place]["p_value"], reverse=True)
    least = 1.0
    for passed, place in enumerate(ranked):
        least = min(least, told[place]["p_value"] * len(told) / (len(told) - passed))
        told[place]["q_value"] = least
    return told


def widened(observed: int, expected: float, spread: float) -> dict[str, float]:
    """Funnel limits between whole counts, and p by twice the smaller tail."""
    told = {}
    for tail, name in (
        (0.025, "95_low"),
        (0.975, "95_high"),
        (0.001, "998_low"),
        (0.999, "998_high"),
    ):
        r = 0
        while poisson_chance(r, expected) < tail:
            r += 1
        step = poisson_chance(r, expected) - (poisson_chance(r - 1, expected) if r else 0.0)
        limit = max((r - (poisson_chance(r, expected) - tail) / step) / expected, 0.0)
        told[f"funnel_{name}"] = max(1 + (limit - 1) * spread, 0.0)
    above = 1 - poisson_chance(observed - 1, expected) if observed else 1.0
    least = min(poisson_chance(observed, expected), above, 0.5)
    normal = NormalDist()
    told["p_value"] = 2 * normal.cdf(normal.inv_cdf(least) / spread)
    return told


def watched_in(lives: list[Life], start: date, end: date) -> int:
    """Unit-days watched from one day up to another."""
    return sum(
        max((min(life.watched_until, end) - max(life.watched_from, start)).days, 0)
        for life in watched(lives)
    )


def failed_in(lives: list[Life], chosen: Callable[[Failure], bool], start: date, end: date) -> int:
    """Failures from one day up to another."""
    return sum(
        chosen(failure) and start <= failure.day < end
        for life in lives
        for failure in life.failures
    )


def quarter(day: date) -> str:
    """The quarter of a day, such as 2025-Q3."""
    return f"{day.year}-Q{(day.month + 2) // 3}"


def band(age: int) -> str:
    """The band of months in service that an age in days is in."""
    for word, last in (("0-6", 182), ("6-12", 365), ("12-24", 730)):
        if age <= last:
            return word
    return "24+"


def season(day: date) -> str:
    """Winter is December to February."""
    return ("winter", "spring", "summer", "autumn")[day.month % 12 // 3]


def by_day(life: Life, name: str) -> list[list[str]]:
    """The values of a dimension on each day of a life: several for `need`, else one."""
    told: list[list[str]] = []
    for age, (day, water) in enumerate(zip(days_of(life), life.waters, strict=True)):
        values = {
            "need": water[1].split("+"),
            "needs": [water[1]],
            "severity": [water[2]],
            "season": [season(day)],
            "month_of_year": [f"{day.month:02d}"],
            "year": [str(day.year)],
            "age": [band(age)],
        }
        told.append(values[name])
    return told


def sliced(
    lives: list[Life], name: str, value: str, chosen: Callable[[Failure], bool]
) -> dict[str, float]:
    """The rate on the days on which a dimension has a value."""
    counts, days = [], []
    for life in watched(lives):
        told = by_day(life, name)
        own = sum(value in values for values in told)
        if own:
            days.append(own)
            counts.append(sum(chosen(f) and value in told[f.age] for f in life.failures))
    return rate_of(counts, days)


def expected_by_age(
    lives: list[Life], chosen: Callable[[Failure], bool], months: list[date], month: date
) -> float | None:
    """What the rates of some months lead to expect of a month, by band of age."""
    under, happened, now = (dict.fromkeys(BANDS, 0) for _ in range(3))
    for life in watched(lives):
        for age, day in enumerate(days_of(life)):
            first = day.replace(day=1)
            if first in months:
                under[band(age)] += 1
            if first == month:
                now[band(age)] += 1
        for failure in life.failures:
            day = days_of(life)[failure.age]
            if chosen(failure) and day.replace(day=1) in months:
                happened[band(failure.age)] += 1
    total = sum(under.values())
    if not total:
        return None
    pooled = max(sum(happened.values()), 0.5) / total
    none = not sum(happened.values())
    rates = {
        word: pooled if none or not under[word] else happened[word] / under[word] for word in BANDS
    }
    return sum(now[word] * rates[word] for word in BANDS)


BANDS = ("0-6", "6-12", "12-24", "24+")
