"""Seeded little worlds whose claims sit on the boundaries of the rules.

Belongs here: units, start-ups, calls, claims, rulings, the as-of date and the through dates. Does
not belong here: water and treatment (`water_scenarios`), terms and reference files
(`terms_scenarios`), and what follows from any of them.

Every claim starts out plain, so that it gets far; then a few draws push dates and values to a
boundary, a day to either side, or leave them out.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal

from tests.properties.oracle.draws import Draws
from tests.properties.oracle.oracle import add_months, find_clock, find_edition
from tests.properties.oracle.rows import Rows
from tests.properties.oracle.terms_scenarios import make_editions, make_reference, one
from tests.properties.oracle.water_scenarios import make_same_day_stock, make_water_life
from tests.properties.oracle.world import FEEDS, Row, World, merged

FIRST, LAST = date(2022, 2, 1), date(2024, 6, 30)
AMOUNTS = (None, one("200"), one("100.005"), one("0.125"), one("99.995"), one("12.344999"))
HOURS = (None, one("2"), one("1.25"), one("1.3333333333"), one("0.5"))
RATES = (None, one("90"), one("85.01"), one("80.334"), one("77.7"))


def make_world(seed: int, claims: int = 20) -> World:
    """A world of about so many claims; the same for the same seed."""
    draws = Draws(seed)
    editions = make_editions(draws)
    reference = make_reference(draws)
    rows = Rows(draws, reference)
    blank = World(rows.records, reference, editions, {}, date.max)
    days: list[date] = []
    sites = [rows.name("SITE-") for _ in range(claims // 2 + 1)]
    for _ in range(claims):
        if rows.records["units"] and draws.chance(0.15):
            unit = draws.choice(rows.records["units"])
        else:
            unit = make_unit(draws, rows, sites, blank)
        days.append(make_claim(draws, rows, blank, unit))
    make_periods(draws, rows)
    make_rulings(draws, rows)
    as_of = max(days) + timedelta(days=draws.choice((0, 30, 400)))
    if draws.chance(0.35):
        as_of = draws.near(draws.choice(any_days(rows, draws.choice(FEEDS))))
    limits = request_limits(rows, blank)
    if limits and draws.chance(0.1):
        as_of = draws.choice(limits) - timedelta(days=1)
    straddle(draws, rows, as_of)
    through = {feed: make_through(draws, feed, days, as_of) for feed in FEEDS}
    if limits and draws.chance(0.4):
        through["startups"] = draws.near(draws.choice(limits))
    for feed in FEEDS:
        draws.shuffle(rows.records[feed])
    return World(rows.records, reference, editions, through, as_of)


def any_days(rows: Rows, feed: str) -> list[date]:
    """All days that stand in a feed, or a single one where it has none."""
    days = [
        value.date() if isinstance(value, datetime) else value
        for row in rows.records[feed]
        for value in row.values()
        if isinstance(value, date)
    ]
    return days or [LAST]


def straddle(draws: Draws, rows: Rows, as_of: date) -> None:
    """Moves a few dates to about the as-of date, so that rows and dates are half known."""
    for feed, columns in (
        ("units", ("purchased_on", "installed_on", "retired_on")),
        ("startups", ("requested_on", "completed_on")),
        ("water_tests", ("sampled_on", "reported_on")),
        ("service_calls", ("opened_on", "failed_on", "completed_on", "claimed_on")),
    ):
        if rows.records[feed]:
            for row in draws.some(rows.records[feed], 4):
                if feed != "units" and row[columns[0]] is not None and row[columns[0]] > as_of:
                    row[columns[0]] = draws.near(as_of)
                row[draws.choice(columns)] = draws.near(as_of)


def request_limits(rows: Rows, blank: World) -> list[date]:
    """The last days to ask for a start-up, of the units that have no report."""
    started = {row["serial"] for row in rows.records["startups"]}
    limits = []
    for unit in rows.records["units"]:
        edition = find_edition(blank, unit)
        if edition is None or unit["serial"] in started:
            continue
        model = next(m for m in rows.reference["models"] if m["model"] == unit["model"])
        terms = merged(edition, model["family"])
        start = unit["purchased_on"] or find_clock(terms, unit)
        limits.append(start + timedelta(days=terms["startup"]["request_within_days"]))
    return limits


def make_through(draws: Draws, feed: str, days: list[date], as_of: date) -> date | None:
    """The day up to which a feed is complete: all, none, or about a failure."""
    about = draws.near(draws.choice(days))
    if feed == "treatment_purchases" and draws.chance(0.3):
        about = min(days)
    return draws.weighted({as_of + timedelta(days=draws.choice((0, 20))): 5, None: 0.7, about: 6})


def make_unit(draws: Draws, rows: Rows, sites: list[str], blank: World) -> Row:
    """A unit; its dates about the start of an edition, about a month's end, or anywhere."""
    shipped = draws.between(FIRST, LAST)
    if draws.chance(0.3):
        shipped = draws.month_end(shipped)
    purchased = draws.weighted({None: 2, draws.after(shipped, 30): 8, draws.near(shipped): 1})
    if draws.chance(0.1):
        start = draws.near(draws.choice(blank.editions)["effective_from"])
        shipped, purchased = draws.choice(((start, None), (start - timedelta(days=9), start)))
    installed = draws.weighted(
        {
            None: 2,
            draws.after(purchased or shipped, 40): 8,
            draws.month_end(draws.after(shipped, 60)): 2,
            draws.near(shipped): 0.5,
        }
    )
    model = draws.weighted({"M1": 4, "M2": 3, "M3": 3, "M4": 2, "M5": 1, "M6": 1})
    return rows.add(
        "units",
        serial=rows.name("T"),
        model=model,
        shipped_on=shipped,
        purchased_on=purchased,
        installed_on=installed,
        site=draws.choice(sites) if draws.chance(0.95) else None,
        site_name=None,
        region="US-NM",
        postal_code=None,
        retired_on=None,
    )


def make_claim(draws: Draws, rows: Rows, blank: World, unit: Row) -> date:
    """One claim on the unit with all that bears on it; its failure date."""
    edition = find_edition(blank, unit)
    if edition is None:
        d = draws.after(unit["shipped_on"], 300)
        make_repair(draws, rows, unit, {"claims": {"file_within_days": 5}}, d, "BOARD", True)
        return d
    model = next(m for m in rows.reference["models"] if m["model"] == unit["model"])
    terms = merged(edition, model["family"])
    clock = find_clock(terms, unit)
    d = make_failure_date(draws, unit, terms, clock)
    if draws.chance(0.1) and (special := make_same_day_stock(draws, rows, unit, terms, clock)):
        make_repair(draws, rows, unit, terms, special, draws.choice(("SCALED", "CORRODED")), True)
        return special
    cause = make_cause(draws, rows, model)
    name = cause["cause"] if draws.chance(0.97) else None
    call = make_repair(draws, rows, unit, terms, d, name, True)
    make_startups(draws, rows, unit, terms, clock, d)
    make_other_repairs(draws, rows, unit, terms, d, call)
    if cause["water_related"] and model["needs_treatment"]:
        make_water_life(draws, rows, unit, model, cause, terms, clock, d)
    if draws.chance(0.05):
        unit["retired_on"] = draws.near(d)
    return d


def make_cause(draws: Draws, rows: Rows, model: Row) -> Row:
    """A cause, one of water where the model needs treatment."""
    causes = rows.reference["causes"]
    if model["needs_treatment"] and draws.chance(0.75):
        causes = [c for c in causes if c["water_related"] and not c["excluded"]]
    elif draws.chance(0.4):
        causes = [c for c in causes if c["reading"] is not None]
    return draws.choice(causes)


def make_failure_date(draws: Draws, unit: Row, terms: dict, clock: date) -> date:
    """A day inside the windows, at the end of one, or about the clock or the shipment."""
    parts, labor = (terms["coverage"][f"{line}_months"] for line in ("parts", "labor"))
    ends = [
        parts,
        parts + terms["startup"]["bonus_parts_months"],
        labor,
        labor + terms["startup"]["bonus_labor_months"],
    ]
    base_end = add_months(clock, min(parts, labor)) - timedelta(days=1)
    return draws.weighted(
        {
            draws.between(clock + timedelta(days=60), base_end): 7,
            draws.between(add_months(clock, min(ends)), add_months(clock, max(ends))): 3,
            draws.near(add_months(clock, draws.choice(ends))): 4,
            draws.near(clock): 0.5,
            draws.near(unit["shipped_on"]): 0.3,
        }
    )


def make_repair(
    draws: Draws, rows: Rows, unit: Row, terms: dict, d: date, cause: str | None, claimed: bool
) -> Row:
    """A repair call of a failure on day d, mostly in order."""
    opened = draws.after(d, 3)
    failed = d
    if draws.chance(0.2):
        opened, failed = d, draws.choice((None, None, d))
    if draws.chance(0.02):
        opened = d - timedelta(days=1)
    completed = draws.weighted({draws.after(opened, 5): 12, opened - timedelta(days=1): 0.2})
    limit = completed + timedelta(days=terms["claims"]["file_within_days"])
    filed = draws.weighted({draws.between(completed, limit): 10, draws.near(limit): 3})
    if draws.chance(0.02):
        filed = draws.near(d)
    agency = draws.weighted({"ALDER": 9, "BIRCH": 4, "CEDAR": 1, "GONE": 0.5, None: 0.5})
    serial = unit["serial"]
    if draws.chance(0.02):
        serial = serial[:-1] + draws.choice("0OX")  # near a unit's, and no unit's itself
    return rows.call(
        rows.name("C"),
        serial,
        "repair",
        opened,
        claim=rows.name("W") if claimed else None,
        failed_on=failed,
        completed_on=completed if draws.chance(0.95) else None,
        claimed_on=filed if claimed and draws.chance(0.97) else None,
        agency=agency,
        performed_by="technician",
        cause=cause,
        parts_amount=draws.choice(AMOUNTS),
        labor_hours=draws.choice(HOURS),
        labor_rate=draws.choice(RATES),
        travel_amount=draws.choice(AMOUNTS),
    )


def make_other_repairs(
    draws: Draws, rows: Rows, unit: Row, terms: dict, d: date, call: Row
) -> None:
    """Now and then a twin claim, or a repair before this one."""
    rules = terms["claims"]
    cause = call["cause"] if draws.chance(0.9) else "BOARD"
    if draws.chance(0.08):
        apart = timedelta(days=rules["duplicate_within_days"])
        twin = make_repair(
            draws, rows, unit, terms, draws.near(d + draws.choice((-1, 1)) * apart), cause, True
        )
        twin["agency"] = call["agency"]
        if draws.chance(0.4):
            twin["claimed_on"] = call["claimed_on"]
        if draws.chance(0.4):
            twin["completed_on"] = d
    if draws.chance(0.08):
        ago = draws.choice((0, 1, rules["workmanship_days"]))
        other = make_repair(draws, rows, unit, terms, d, cause, draws.chance(0.4))
        other["completed_on"] = draws.near(d - timedelta(days=ago))
        other["opened_on"] = other["completed_on"] - timedelta(days=draws.choice((0, 0, 15)))
        other["failed_on"] = None
        other["agency"] = call["agency"] if draws.chance(0.9) else "ALDER"
        if draws.chance(0.2):
            other["kind"], other["claim"] = "inspection", None
        if draws.chance(0.15):
            call["agency"] = other["agency"] = None


def make_startups(draws: Draws, rows: Rows, unit: Row, terms: dict, clock: date, d: date) -> None:
    """No start-up report to two, asked for about the last day, with readings about their limits."""
    bought = unit["purchased_on"] or clock
    last = bought + timedelta(days=terms["startup"]["request_within_days"])
    for _ in range(draws.weighted({0: 3, 1: 6, 2: 2})):
        requested = draws.weighted(
            {
                draws.between(bought, last): 5,
                draws.near(last): 3,
                bought - timedelta(days=5): 1,
                last + timedelta(days=9): 1,
                None: 2,
            }
        )
        completed = draws.weighted(
            {
                draws.after(max(clock, requested or clock), 20): 7,
                draws.near(last): 2,
                draws.near(d): 1,
                draws.near(unit["shipped_on"]): 0.3,
                None: 1.5,
            }
        )
        step = draws.choice((Decimal(0), Decimal(0), one("0.1"), one("-0.1")))
        rows.startup(
            rows.name("R"),
            unit["serial"],
            requested_on=requested,
            completed_on=completed,
            flowing_pressure_psi=draws.choice((None, one("25") + step, one("65") + step)),
            gas=draws.choice(("natural", "natural", "propane", "none", None)),
            gas_pressure_in_wc=draws.choice((None, one("4.5") + step, one("13") + step)),
            drain_air_gap_in=draws.choice((None, one("1.5") + step, one("2"))),
            level=draws.choice((True, True, False, None)),
            under_hood=draws.choice((True, True, False, None)),
            water_lines=draws.choice((1, 1, 2, None)),
        )


def make_periods(draws: Draws, rows: Rows) -> None:
    """Moves the ends of the agencies' periods to about the completion of a claim of theirs."""
    for agency, last, following in (("BIRCH", 1, 2), ("CEDAR", 4, None)):
        done = [
            call["completed_on"] or call["opened_on"]
            for call in rows.records["service_calls"]
            if call["agency"] == agency
        ]
        if not done:
            continue
        periods = rows.reference["agencies"]
        end = draws.near(draws.choice(done))
        periods[last]["authorized_until"] = end
        if following is not None:
            start = end + timedelta(days=draws.choice((1, 2, 30)))
            periods[following]["authorized_from"] = start
            periods[following]["authorized_until"] = start + timedelta(days=120)
            periods[following + 1]["authorized_from"] = start + timedelta(days=121)
    draws.shuffle(rows.reference["agencies"])


def make_rulings(draws: Draws, rows: Rows) -> None:
    """Rulings on some claims, several on one, some with amounts, a few on no claim at all."""
    for call in [c for c in rows.records["service_calls"] if c["claim"] is not None]:
        if not draws.chance(0.25):
            continue
        moments = draws.sample(range(24 * 120), draws.choice((1, 1, 2, 3)))
        for hours in moments:
            moment = datetime.combine(call["opened_on"], datetime.min.time())
            rows.add(
                "rulings",
                claim=call["claim"] if draws.chance(0.98) else rows.name("W"),
                ruled_at=moment + timedelta(hours=hours),
                ruled_by="a.person",
                ruling=draws.choice(("covered", "covered_in_part", "not_covered")),
                reason="seen on paper",
                parts_amount=draws.choice(AMOUNTS) if draws.chance(0.3) else None,
                labor_amount=draws.choice(AMOUNTS) if draws.chance(0.3) else None,
                travel_amount=draws.choice(AMOUNTS) if draws.chance(0.3) else None,
            )
