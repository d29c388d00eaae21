"""Over nights, late and corrected rows and kills each agency is told once of every unit's state.

Letters of the kinds `installation` and `recommendation`, from rows of the feeds to the register,
for many units at a time. They are compared with a plain reading of the same rules, one unit at a
time, and held to what must hold of any register. `test_letters_once` does so for claims.
"""

from __future__ import annotations

import datetime as dt
import random
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import polars as pl
import pytest

from pipelines.coverage import seen
from pipelines.letters.matters import SCHEMA
from pipelines.letters.register import due
from pipelines.startups.standing_units import (
    no_longer_told,
    standing_installations,
    standing_recommendations,
)
from pipelines.startups.tables import startup_tables
from schemas.register import MAY_FOLLOW
from tests.drawn import seeds_anew
from tests.unit.coverage import bench
from tests.unit.startups.startup_bench import TERMS

DAY = dt.timedelta(days=1)
START, STARTED = dt.date(2024, 2, 1), dt.date(2024, 1, 20)
UNITS, NIGHTS = 40, 12
KINDS = ("installation", "recommendation")
# The rules that the plain reading goes by, as the terms of the bench have them.
PRESSURE, GAS = (30, 60), {"natural": (4, 10), "propane": (10, 13)}
LIMITS = {"scale": ("hardness_mg_l_caco3", 100), "chloride": ("chloride_mg_l", 50), "ph": ("ph", 9)}
GRACE_DAYS, CARTRIDGE_GRACE_DAYS, WARM_F = 30, 15, 90
SYSTEMS = {"SOFT": "scale", "CHL": "chloride"}  # nothing on the list serves ph
BOOKS = {
    "treatments": [
        {"product": "SOFT", "kind": "system", "removes": "scale"},
        {"product": "SOFT-C", "kind": "cartridge", "fits": "SOFT"},
        {"product": "CHL", "kind": "system", "removes": "chloride"},
    ]
}
FEED_KEYS = {"units": "serial", "startups": "report", "water_tests": "sample",
             "treatment_purchases": "order", "service_calls": "call"}  # fmt: skip


def in_half_a_year(day: dt.date) -> dt.date:
    """The same day six months on, or that month's last: how long a cartridge is good for."""
    first = (day.replace(day=1) + 184 * DAY).replace(day=1)
    last = (first + 31 * DAY).replace(day=1) - DAY
    return first.replace(day=min(day.day, last.day))


def drawn_report(draw: random.Random, night: dt.date, n: int, serial: str) -> dict:
    """A report of a start-up, completed by the night; readings are often left out."""
    completed = night - draw.choice((0, 1, 20, 90)) * DAY
    gas = draw.choice(("natural", "propane", "none", None))
    told = {"report": f"R{n:04}", "serial": serial, "completed_on": max(completed, STARTED)}
    told |= {"requested_on": STARTED, "agency": draw.choice(("NORTH", "EAST"))}
    told |= {"flowing_pressure_psi": draw.choice((None, 29, 30, 60, 61))}
    told |= {"gas": gas, "gas_pressure_in_wc": draw.choice((None, 4, 10, 11))}
    told |= {
        "level": draw.choice((None, "yes", "yes", "no")),
        "under_hood": draw.choice((None, "no")),
    }
    told |= {"water_lines": draw.choice((None, 1, 2))}
    return told | {"supply_temperature_f": draw.choice((None, 90, 91))}


def drawn_test(draw: random.Random, night: dt.date, n: int, serial: str) -> dict:
    """A supply test; its panel may lack its ph. No value is above twice its limit."""
    reported = max(night - draw.choice((0, 3, 40)) * DAY, STARTED)
    told = {"sample": f"L{n:04}", "site": f"S{serial}", "point": "supply"}
    told |= {"sampled_on": reported - draw.choice((0, 5)) * DAY, "reported_on": reported}
    told |= {"hardness_mg_l_caco3": draw.choice((60, 150)), "ph": draw.choice((7, 7, 7, 9.5, None))}
    return told | {"chloride_mg_l": draw.choice((None, 10, 51, 90))}


def drawn_order(draw: random.Random, night: dt.date, n: int, serial: str) -> dict:
    """A purchase of a system, at times used or of another seller."""
    told = {"order": f"P{n:04}", "line": 1, "serial": serial, "quantity": 1}
    told |= {"ordered_on": max(night - draw.choice((0, 30)) * DAY, STARTED)}
    told |= {"product": draw.choice(tuple(SYSTEMS)), "seller": draw.choice(("MAKER",) * 4 + ("X",))}
    return told | {"condition": draw.choice(("new",) * 4 + ("used",))}


def drawn_call(draw: random.Random, night: dt.date, n: int, serial: str) -> dict:
    """A system is fitted, or its cartridge changed."""
    completed = max(night - draw.choice((0, 1, 30)) * DAY, STARTED)
    told = {"call": f"C{n:04}", "serial": serial, "opened_on": completed, "completed_on": completed}
    if draw.random() < 0.4:
        return told | {"kind": "cartridge_change", "product": "SOFT"}
    return told | {"kind": "treatment_install", "product": draw.choice(tuple(SYSTEMS))}


DRAWN = {"startups": drawn_report, "water_tests": drawn_test,
         "treatment_purchases": drawn_order, "service_calls": drawn_call}  # fmt: skip


@dataclass
class Fleet:
    """The records on file, which each night adds to, corrects and takes from."""

    draw: random.Random
    rows: dict[str, dict[str, dict]] = field(default_factory=lambda: {f: {} for f in FEED_KEYS})
    count: int = 0
    cover: dict[str, dt.date] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for n in range(UNITS):
            self.add_unit(f"U{n:02}", STARTED)

    def add_unit(self, serial: str, started: dt.date, **more: object) -> None:
        """A unit whose clock starts on that day, on a site of its own."""
        row = {"serial": serial, "model": "GEN", "shipped_on": started}
        row |= {"purchased_on": started, "installed_on": started, "site": f"S{serial}"}
        self.rows["units"][serial] = row | {"region": "US-NM"} | more
        self.cover[serial] = self.draw.choice((dt.date(2026, 1, 1),) * 5 + (dt.date(2024, 8, 1),))

    def dawn(self, night: dt.date) -> None:
        """What comes in by that night."""
        for serial in [*self.rows["units"]]:
            if self.draw.random() < 0.7:
                self._something(night, serial)

    def _something(self, night: dt.date, serial: str) -> None:
        draw, what = self.draw, self.draw.random()
        feed = draw.choice(("startups", "startups", "water_tests", "water_tests",
                            "treatment_purchases", "service_calls"))  # fmt: skip
        mine = [key for key, row in self.rows[feed].items()
                if serial in (row.get("serial"), str(row.get("site"))[1:])]  # fmt: skip
        self.count += 1
        if what < 0.05:
            self.rows["units"][serial] |= {"retired_on": night - draw.choice((0, 1)) * DAY}
        elif what < 0.1 and len(serial) == 3 and f"{serial}N" not in self.cover:
            self.add_unit(f"{serial}N", night, replaces=serial)
        elif what < 0.35 and mine:  # a corrected row, or one that is withdrawn
            key = draw.choice(mine)
            if draw.random() < 0.3:
                del self.rows[feed][key]
            else:
                other = DRAWN[feed](draw, night, 0, serial)
                self.rows[feed][key] = other | {FEED_KEYS[feed]: key}
        else:
            row = DRAWN[feed](draw, night, self.count, serial)
            self.rows[feed][row[FEED_KEYS[feed]]] = row

    def of(self, feed: str, serial: str) -> list[dict]:
        """The unit's records."""
        owner, mine = ("site", f"S{serial}") if feed == "water_tests" else ("serial", serial)
        return [row for row in self.rows[feed].values() if row[owner] == mine]


# The plain reading: what stands of one unit.


def unmended(fleet: Fleet, serial: str, day: dt.date) -> tuple[str, ...]:
    """The readings that the latest report to say so calls unsound."""
    fitted = [c["completed_on"] for c in fleet.of("service_calls", serial)
              if c["kind"] == "treatment_install" and c["completed_on"] <= day]  # fmt: skip
    latest: dict[str, bool] = {}
    for row in reports_done(fleet, serial, day):
        gas, pressure = row["gas"], row["flowing_pressure_psi"]
        if pressure is not None:
            latest["flowing_pressure_psi"] = PRESSURE[0] <= pressure <= PRESSURE[1]
        if gas in GAS and row["gas_pressure_in_wc"] is not None:
            low, high = GAS[gas]
            latest["gas_pressure_in_wc"] = low <= row["gas_pressure_in_wc"] <= high
        if row["level"] is not None:
            latest["level"] = row["level"] == "yes"
        if row["under_hood"] == "no" and gas in GAS:
            latest["under_hood"] = False
        warm = row["supply_temperature_f"] is not None and row["supply_temperature_f"] > WARM_F
        treated = any(since <= row["completed_on"] for since in fitted)
        if (warm or treated) and row["water_lines"] is not None:
            latest["water_lines"] = row["water_lines"] >= 2
    return tuple(sorted(name for name, sound in latest.items() if not sound))


def reports_done(fleet: Fleet, serial: str, day: dt.date) -> list[dict]:
    """The completed start-ups in their order."""
    done = [row for row in fleet.of("startups", serial) if row["completed_on"] <= day]
    return sorted(done, key=lambda row: (row["completed_on"], row["report"]))


def agency_of(fleet: Fleet, serial: str, day: dt.date, kind: str) -> str | None:
    """Of the latest completed start-up; for its water also of one that is only asked for."""
    done = reports_done(fleet, serial, day)
    asked = fleet.of("startups", serial) if kind == "recommendation" else []
    latest = done[-1:] or sorted(asked, key=lambda row: row["report"])[-1:]
    return latest[0]["agency"] if latest else None


def is_gone(fleet: Fleet, serial: str, day: dt.date) -> bool:
    """Whether the unit is out of cover, retired or replaced."""
    unit, new = fleet.rows["units"][serial], fleet.rows["units"].get(f"{serial}N")
    left = [fleet.cover[serial], unit.get("retired_on"), new and new["installed_on"]]
    return any(since is not None and since <= day for since in left)


def advice(fleet: Fleet, serial: str, day: dt.date) -> tuple | str | None:
    """What the agency is told of the water; `settled`, or None where nothing is known or asked."""
    tests = [t for t in fleet.of("water_tests", serial)
             if t["reported_on"] <= day and t["ph"] is not None]  # fmt: skip
    if not tests or is_gone(fleet, serial, day):
        return None
    last = max(tests, key=lambda t: (t["sampled_on"], t["reported_on"], t["sample"]))
    needs = {need for need, (name, most) in LIMITS.items() if (last[name] or 0) > most}
    bought = {p["product"] for p in fleet.of("treatment_purchases", serial)
              if p["condition"] == "new" and p["seller"] == "MAKER"
              and p["ordered_on"] <= day}  # fmt: skip
    if needs <= {SYSTEMS[name] for name in bought if is_kept(fleet, serial, name, day)}:
        return "settled"
    clock = fleet.rows["units"][serial]["installed_on"]
    since = max(min(t["reported_on"] for t in tests), clock)
    serving = sorted(name for name, does in SYSTEMS.items() if does in needs)
    unmet = sorted(needs - set(SYSTEMS.values()))
    return tuple(sorted(needs)), tuple(serving), tuple(unmet), since + GRACE_DAYS * DAY


def is_kept(fleet: Fleet, serial: str, product: str, day: dt.date) -> bool:
    """Whether a system is fitted and its cartridges, where it has any, were never late."""
    calls = [c for c in fleet.of("service_calls", serial)
             if c["product"] == product and c["completed_on"] <= day]  # fmt: skip
    installs = [c["completed_on"] for c in calls if c["kind"] == "treatment_install"]
    if not installs or product == "CHL":
        return bool(installs)
    fitted = min(installs)
    changes = [c["completed_on"] for c in calls if c["kind"] == "cartridge_change"]
    days = [fitted, *sorted(on for on in changes if on > fitted), day]
    return all(b <= in_half_a_year(a) + CARTRIDGE_GRACE_DAYS * DAY for a, b in pairwise(days))


# The plain register: entries of one matter after the other, by its kind and unit.


@dataclass
class Plain:
    """The register's rules, read one matter at a time."""

    since: dt.date
    entries: dict[tuple[str, str], list[dict]] = field(default_factory=dict)

    def look(self, fleet: Fleet, day: dt.date, kinds: tuple[str, ...]) -> None:
        """What one night makes of every unit."""
        known = [one["as_of"] for many in self.entries.values() for one in many]
        if known and day < max(known):
            return
        for serial, unit in fleet.rows["units"].items():
            if unit["shipped_on"] > day:  # a night that looks back knows no unit of later days
                continue
            faults, water = unmended(fleet, serial, day), advice(fleet, serial, day)
            told = {"installation": faults or None,
                    "recommendation": None if water == "settled" else water}  # fmt: skip
            settles = {"installation": not faults, "recommendation": water == "settled"}
            for kind in KINDS:
                mine = self.entries.setdefault((kind, serial), [])
                news = followed(mine, told[kind], settles[kind])
                if news and kind in kinds:
                    state = "told_before" if day < self.since else "to_send"
                    agency = agency_of(fleet, serial, day, kind)
                    mine.append({"told": told[kind], "as_of": day, "state": state, "to": agency})


def live_of(mine: list[dict]) -> list[dict]:
    """The entries that are not overtaken."""
    return [one for one in mine if one["state"] != "overtaken"]


def followed(mine: list[dict], told: tuple | None, settles: bool) -> bool:
    """Overtakes what waits and no longer stands, closes what is live of a matter that is settled.

    Returns whether there is something new to tell.
    """
    live = live_of(mine)
    if live and live[-1]["state"] == "to_send" and live[-1]["told"] != told:
        live[-1]["state"] = "overtaken"
    live = live_of(mine)
    for one in live:
        if settles and one["state"] in ("sent", "answered", "told_before"):
            one["state"] = "closed"
    return told is not None and (not live or live[-1]["told"] != told)


class Story:
    """Drawn nights of a fleet, with its register and the plain one."""

    def __init__(self, seed: int, folder: Path) -> None:
        self.draw, self.fleet = random.Random(seed), Fleet(random.Random(seed + 1))
        self.terms = bench.terms_of(folder / "terms", TERMS)
        self.since = START + 40 * DAY * (seed % 2)
        self.night = START
        self.plain = Plain(self.since)
        # The register, and what it would be if no night had been killed.
        self.register = self.undisturbed = SCHEMA.to_frame()
        # What was published, where the register has not seen it yet.
        self.store: tuple | None = None

    def standing(self, day: dt.date) -> pl.DataFrame:
        """What stands of all units by the product, from the rows of the feeds."""
        rows = {
            feed: [
                {name: None if value is None else str(value) for name, value in row.items()}
                for row in many.values()
            ]
            for feed, many in self.fleet.rows.items()
        }
        evidence = seen(bench.evidence_of(as_of=str(day), references=BOOKS, **rows))
        cover = pl.DataFrame(
            {"serial": [*self.fleet.cover], "coverage_end": [*self.fleet.cover.values()]}
        )
        made = startup_tables(
            evidence, self.terms, cover, duty_hours_per_day=10.0, tanks_l=[60, 190]
        )
        reviews, advised = made["startup_reviews"], made["treatment_recommendations"]
        agencies = evidence.agencies
        return pl.concat(
            [
                standing_installations(reviews, made["installation_findings"], agencies),
                standing_recommendations(advised, evidence.startups, agencies),
            ]
        )

    def looked(self, register: pl.DataFrame, published: tuple) -> pl.DataFrame:
        """The register brought up to what was published."""
        standing, serials, day, kinds = published
        gone = no_longer_told(standing, register, serials)
        made_at = dt.datetime(2024, 6, 1)
        now = pl.concat([standing, gone])
        return due(register, now, day, made_at, since=self.since, kinds=kinds).applied(register)

    def bring_up(self) -> None:
        """What a killed refresh left is done before anything new is read."""
        if self.store is not None:
            self.register = self.looked(self.register, self.store)
            self.store = None

    def pass_night(self, number: int) -> None:
        """Marks by day, what comes in, and a refresh; some are killed, some look back."""
        draw = self.draw
        self.bring_up()
        self._mark()
        self.night += draw.choice((0, 1, 7, 30, 60)) * DAY
        self.fleet.dawn(self.night)
        day = self.night - (draw.choice((1, 50)) if draw.random() < 0.15 else 0) * DAY
        killed = draw.random() < 0.3
        # The settings may leave a kind out, and later ask for it again.
        kinds = KINDS if number not in (4, 5, 6) else ("installation",)
        self.store = self.standing(day), pl.Series([*self.fleet.cover]), day, kinds
        self.undisturbed = self.looked(self.undisturbed, self.store)
        self.plain.look(self.fleet, day, kinds)
        if not killed:
            self.bring_up()

    def _mark(self) -> None:
        """People send what waits, or close it, and mark some of what went out."""
        for (kind, serial), mine in sorted(self.plain.entries.items()):
            for place, one in enumerate(mine):
                may = [state for state in MAY_FOLLOW.get(one["state"], ()) if state != "to_send"]
                if may and self.draw.random() < (0.4 if "sent" in may else 0.1):
                    one["state"] = may[0] if self.draw.random() < 0.9 else may[-1]
                    self._put(kind, serial, place, one["state"])

    def _put(self, kind: str, serial: str, place: int, state: str) -> None:
        of = (pl.col("kind") == kind) & (pl.col("serial") == serial)
        entry = self.register.filter(of).sort("entry")["entry"][place]
        marked = pl.when(pl.col("entry") == entry).then(pl.lit(state)).otherwise("state")
        self.register = self.register.with_columns(state=marked)
        self.undisturbed = self.undisturbed.with_columns(state=marked)

    def entries(self) -> dict[tuple[str, str], list[tuple]]:
        """The register by matter: state, as_of, agency, and which of its texts each tells."""
        found: dict[tuple[str, str], list[tuple]] = {}
        names = ("kind", "serial", "state", "as_of", "agency", "basis")
        for kind, serial, *told in self.register.sort("entry").select(names).iter_rows():
            found.setdefault((kind, serial), []).append(tuple(told))
        return {key: numbered(many) for key, many in found.items()}

    def expected(self) -> dict[tuple[str, str], list[tuple]]:
        """The plain register in the same shape."""
        names = ("state", "as_of", "to", "told")
        return {
            key: numbered([tuple(one[name] for name in names) for one in mine])
            for key, mine in self.plain.entries.items()
            if mine
        }


def numbered(told: list[tuple]) -> list[tuple]:
    """Rows whose last value is the place at which it first stood."""
    first = [row[-1] for row in told]
    return [(*row[:-1], first.index(row[-1])) for row in told]


@pytest.mark.parametrize("seed", [2, 3, *seeds_anew("unit letters", 6)])
def test_each_state_of_a_unit_is_told_exactly_once(seed, tmp_path) -> None:
    """After each night the entries and states of the plain reading, whatever was killed; what
    stands is what was told last, and nothing is told twice in a row."""
    story = Story(seed, tmp_path)
    for number in range(NIGHTS):
        story.pass_night(number)
        if story.store is None or number == NIGHTS - 1:
            story.bring_up()
            assert story.entries() == story.expected(), number
            assert story.register.equals(story.undisturbed)
    assert {*story.register.select("kind", "state").unique().rows()} >= {
        (kind, state) for kind in KINDS for state in ("to_send", "sent", "closed", "overtaken")
    }
    live = story.register.filter(pl.col("state") != "overtaken").sort("kind", "serial", "entry")
    assert live["serial"].n_unique() > UNITS / 2
    told = ["kind", "serial", "basis"]
    assert live.filter(pl.all_horizontal(pl.col(n) == pl.col(n).shift() for n in told)).is_empty()
