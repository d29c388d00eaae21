"""Random nights: what is carried over of start-ups is what making everything anew gives.

A small fleet with shared sites, replaced units and every feed lives through nights: rows come late,
are corrected or taken back, move to other units and sites, and days pass. Each night all tables of
start-ups are made both ways from the same store, and compared to the row.
"""

from __future__ import annotations

import csv
import datetime as dt
import random
import shutil
from dataclasses import dataclass, field
from pathlib import Path
from unittest import mock

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipelines.steps import startups as step
from pipelines.store.database import read_frame
from pipelines.store.transaction import RefreshSession, open_session
from tests.drawn import seeds_anew
from tests.nights import KNOWN, make, publish

CASES = Path(__file__).parents[1] / "cases" / "worked_claims" / "workspace"
START = dt.date(2025, 1, 15)
DAY = dt.timedelta(days=1)
UNITS, SITES, NIGHTS = 24, 9, 6
KEYS = ("must_report = [\"flowing_pressure_psi\", \"level\", \"sample_taken\"]\n"
        "two_lines_above_f = 90\ntwo_lines_when_treated = true\n")  # fmt: skip
HEADERS = {
    "units": "serial,model,shipped_on,purchased_on,installed_on,site,site_name,region,retired_on,"
    "replaces",
    "startups": "report,serial,requested_on,completed_on,agency,flowing_pressure_psi,"
    "static_pressure_psi,supply_temperature_f,gas,gas_pressure_in_wc,level,under_hood,water_lines,"
    "sample_taken,treatment_product,treatment_installed_on",
    "water_tests": "sample,site,serial,point,sampled_on,reported_on,ph,hardness_mg_l_caco3,"
    "chloride_mg_l",
    "treatment_purchases": "order,line,ordered_on,product,quantity,condition,seller,site,serial",
    "service_calls": "call,claim,serial,kind,opened_on,completed_on,agency,product",
}
# How many rows of each feed a night moves.
COMES = dict.fromkeys(HEADERS, (0, 0, 1, 2)) | {"water_tests": (1, 2), "service_calls": (1, 2)}
SYSTEMS = ("LIME-OFF", "TWIN", "CLEAR")


@dataclass
class Fleet:
    """The rows on file by feed and key, as somebody's exports would have them."""

    draw: random.Random
    rows: dict[str, dict[str, dict[str, object]]] = field(
        default_factory=lambda: {feed: {} for feed in HEADERS}
    )
    count: int = 0

    def begin(self) -> None:
        """The register, and half a year of what came in before the first night."""
        for _ in range(UNITS):
            self.add("units", START - self.draw.randrange(0, 400) * DAY)
        # Few of what is fitted: one more changes something for all units of a site.
        for feed, count in (("startups", 40), ("water_tests", 12), ("treatment_purchases", 16),
                            ("service_calls", 3)):  # fmt: skip
            for _ in range(count):
                self.add(feed, START - self.draw.randrange(0, 300) * DAY)

    def serial(self) -> str:
        return self.draw.choice([*self.rows["units"]])

    def add(self, feed: str, day: dt.date) -> None:
        """One row more, of about that day."""
        self.count += 1
        key, row = f"{feed[0].upper()}{self.count:04}", self.drawn(feed, day)
        self.rows[feed][key] = {HEADERS[feed].split(",")[0]: key} | row

    def drawn(self, feed: str, day: dt.date) -> dict[str, object]:
        """A row without its key."""
        draw, later = self.draw, day + self.draw.choice((0, 0, 1, 5, 30)) * DAY
        site = f"SITE-{draw.randrange(SITES)}"
        if feed == "units":
            row = {
                "model": draw.choice(("AL-2", "BR-6", "BR-6", "CO-1")),
                "shipped_on": day,
                "purchased_on": draw.choice((day, later, None)),
                "region": "US-NM",
                "installed_on": draw.choice((later, None)),
                "site": draw.choice((site, None)),
            }
            row["retired_on"] = draw.choice((None,) * 6 + (day + 200 * DAY,))
            known = [*self.rows["units"]]
            return row | {"replaces": draw.choice(known) if known and draw.random() < 0.1 else None}
        if feed == "startups":
            return {
                "serial": self.serial(),
                "requested_on": draw.choice((day, None)),
                "completed_on": draw.choice((later, later, None)),
                "agency": draw.choice(("NORTHSTAIR", None)),
                "flowing_pressure_psi": draw.choice((None, 29, 30, 61)),
                "static_pressure_psi": draw.choice((None, 60)),
                "supply_temperature_f": draw.choice((None, 90, 90, 91)),
                "gas": draw.choice((None, "natural", "propane", "none")),
                "gas_pressure_in_wc": draw.choice((None, 3.5, 10)),
                "level": draw.choice((None, "yes", "no")),
                "under_hood": draw.choice((None, "no")),
                "water_lines": draw.choice((None, 1, 2)),
                "sample_taken": draw.choice((None, "yes")),
                "treatment_product": draw.choice((None,) * 9 + SYSTEMS[:1]),
                "treatment_installed_on": draw.choice((None, later)),
            }
        owner = draw.choice(({"site": site}, {"serial": self.serial()}))
        if feed == "water_tests":
            return owner | {
                "point": "supply",
                "sampled_on": day,
                "reported_on": draw.choice((later, None)),
                "ph": draw.choice((7, 7, 7, 7, None)),
                "hardness_mg_l_caco3": draw.choice((60, 150, 250)),
                "chloride_mg_l": draw.choice((None, 10, 60)),
            }
        if feed == "treatment_purchases":
            product = draw.choice((*SYSTEMS, "LIME-OFF-C", "TWIN-C"))
            return owner | {
                "line": 1,
                "ordered_on": day,
                "product": product,
                "quantity": 1,
                "condition": draw.choice(("new", "new", "new", "used")),
                "seller": "FENNIMORE",
            }
        kind = draw.choice(("treatment_install", "treatment_install", "cartridge_change"))
        return {
            "serial": self.serial(),
            "kind": kind,
            "opened_on": day,
            "agency": "NORTHSTAIR",
            "completed_on": draw.choice((later, later, None)),
            "product": draw.choice(SYSTEMS),
        }

    def night(self, day: dt.date) -> None:
        """What came, went, or was corrected by that day: often nothing of most feeds."""
        for feed in HEADERS:
            for _ in range(self.draw.choice(COMES[feed])):
                known = [*self.rows[feed]]
                what = self.draw.random()
                if what < 0.6 or len(known) < 5:
                    self.add(feed, day - self.draw.choice((0, 0, 2, 40, -3)) * DAY)
                elif what < 0.7 and feed != "units":
                    del self.rows[feed][self.draw.choice(known)]
                else:
                    key = self.draw.choice(known)
                    column = self.draw.choice(HEADERS[feed].split(",")[1:])
                    other = self.drawn(feed, day - self.draw.randrange(60) * DAY)
                    if other.get(column) is not None:
                        self.rows[feed][key][column] = other[column]

    def write(self, exports: Path) -> None:
        """A file a feed."""
        for feed, rows in self.rows.items():
            with (exports / f"{feed}.csv").open("w", encoding="utf-8", newline="") as file:
                writer = csv.DictWriter(file, HEADERS[feed].split(","))
                writer.writeheader()
                writer.writerows(rows.values())


def tables(session: RefreshSession) -> dict[str, pl.DataFrame]:
    """All tables of the step."""
    make(session, "startup_tables")
    return {name: read_frame(session.con, name) for name in step.STEP.tables}


def spend(folder: Path, as_of: dt.date) -> tuple[int, int]:
    """One night: how many units were looked at, of how many."""
    asked: list[int] = []

    def counted(session: RefreshSession) -> pl.DataFrame | None:
        moving = choose(session)
        asked.append(-1 if moving is None else moving.height)
        return moving

    choose = step.units_to_review
    with open_session(folder, as_of, known=KNOWN) as session:
        make(session, "landed_exports", "record_tables", "unit_tables")
        with mock.patch.object(step, "units_to_review", return_value=None):
            whole = tables(session)
        with mock.patch.object(step, "units_to_review", counted):
            quick = tables(session)
        for name, table in whole.items():
            assert_frame_equal(quick[name], table)
        publish(session)
    units = whole["journeys"].height
    return units if asked[0] < 0 else asked[0], units


@pytest.mark.parametrize("seed", [1, 2, *seeds_anew("test_startups_that_stand", 2)])
def test_what_is_carried_over_of_startups_is_what_would_be_made(seed, tmp_path):
    """Findings, reviews, recommendations, journeys, rates, what comes up: the same, in order."""
    folder = shutil.copytree(CASES, tmp_path / "workspace")
    shutil.rmtree(folder / "exports")
    (folder / "exports").mkdir()
    for path in (folder / "terms").glob("*.toml"):
        text = path.read_text(encoding="utf-8").replace(
            "[installation]\n", f"[installation]\n{KEYS}"
        )
        path.write_text(text, encoding="utf-8")
    fleet = Fleet(random.Random(seed))
    fleet.begin()
    fleet.write(folder / "exports")
    as_of = START
    looked = [spend(folder, as_of)]
    assert looked[0][0] == looked[0][1] > UNITS / 2
    for _ in range(NIGHTS):
        as_of += fleet.draw.choice((0, 1, 1, 3, 20)) * DAY
        fleet.night(as_of)
        fleet.write(folder / "exports")
        looked.append(spend(folder, as_of))
    assert any(0 < moved < units for moved, units in looked)
