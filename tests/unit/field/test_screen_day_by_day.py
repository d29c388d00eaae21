"""The screen and the ratio of longer to shorter cover against a count of every single day."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from math import exp, sqrt
from statistics import median

import polars as pl
import pytest
from scipy.stats import chi2, false_discovery_control

from pipelines.field.context import FieldContext
from pipelines.field.screen import screen
from pipelines.field.watch_length import watch_length

SEASONS = ("winter", "spring", "summer", "autumn")


@pytest.fixture(scope="module")
def fleet(make_fleet) -> FieldContext:
    """Eighty units of two families that fail often."""
    return make_fleet(80, 9, rate=4.0)


def band(age: int) -> str:
    """The band of an age in days."""
    return next(w for w, last in (("0-6", 182), ("6-12", 365), ("12-24", 730), ("24+", 9999))
                if age <= last)  # fmt: skip


def days_of(fleet: FieldContext) -> list[tuple[dict, int, str]]:
    """Every day watched: its unit, age and needs."""
    units = {unit["unit"]: unit for unit in fleet.units.to_dicts()}
    return [
        (units[span["unit"]], age, span["needs"])
        for span in fleet.spans.to_dicts()
        for age in range(span["entry"], span["exit"])
    ]


def test_the_screen_is_mantel_and_haenszels_with_a_score_by_unit(fleet: FieldContext) -> None:
    """Expected, ratio with limits, p and q of every region and season, from sums over days."""
    table = screen(fleet)
    assert table["q_value"].to_list() == pytest.approx(
        false_discovery_control(table["p_value"].to_numpy()).tolist()
    )
    checked = 0
    for dimension in ("region", "season,cold_supply"):

        def value(unit: dict, day: dt.date, dimension: str = dimension) -> str:
            if dimension == "region":
                return unit["region"]
            return f"{SEASONS[day.month % 12 // 3]},{unit['cold_supply']}"

        time: dict[tuple, dict[str, float]] = defaultdict(lambda: defaultdict(float))
        where = {}
        for unit, age, needs in days_of(fleet):
            stratum = (unit["family"], needs, band(age))
            own = value(unit, unit["watched_from"] + dt.timedelta(days=age))
            time[stratum][own] += 1 / 365.25
            where[unit["unit"], age] = (stratum, own)
        for row in table.filter(dimension=dimension, cause="all").to_dicts():
            happened = [
                (failure["unit"], *where[failure["unit"], failure["age"]])
                for failure in fleet.failures.to_dicts()
                if failure["cause_class"] == row["cause_class"]
            ]
            same(row, time, happened)
            checked += 1
    assert checked > 10


def same(row: dict, time: dict[tuple, dict[str, float]], happened: list[tuple]) -> None:
    """A row of the screen against sums over strata; happened: unit, stratum, value."""
    expected = above = below = spread = 0.0
    for stratum, of_value in time.items():
        t, whole = of_value.get(row["value"], 0.0), sum(of_value.values())
        n = sum(at == stratum for _, at, _ in happened)
        a = sum(at == stratum and own == row["value"] for _, at, own in happened)
        expected += n * t / whole
        above += a * (whole - t) / whole
        below += (n - a) * t / whole
        spread += n * t * (whole - t) / whole**2
    parts: dict[int, float] = defaultdict(float)
    for unit, at, own in happened:
        share = time[at].get(row["value"], 0.0) / sum(time[at].values())
        parts[unit] += (own == row["value"]) - share
    score = sum(parts.values()) ** 2 / sum(part**2 for part in parts.values())
    units = {unit for unit, _, own in happened if own == row["value"]}
    assert row["units"] == len(units)
    assert row["expected"] == pytest.approx(expected)
    assert row["ratio"] == pytest.approx(above / below)
    wide = exp(1.959963984540054 * sqrt(spread / (above * below)))
    assert row["low"] == pytest.approx(above / below / wide)
    assert row["high"] == pytest.approx(above / below * wide)
    assert row["p_value"] == pytest.approx(chi2.sf(score, 1), abs=1e-9)


@pytest.mark.parametrize("event", ["any", "water"])
def test_longer_cover_is_above_its_familys_median(fleet: FieldContext, event: str) -> None:
    """Mantel and Haenszel's ratio by family and band in the months that every cover reaches."""
    cover = {
        unit["unit"]: (unit["coverage_end"] - unit["watched_from"]).days
        for unit in fleet.units.to_dicts()
    }
    family = dict(fleet.units.select("unit", "family").rows())
    middle = {
        name: median(days for unit, days in cover.items() if family[unit] == name)
        for name in set(family.values())
    }
    months = int(min(cover.values()) / 30.4375)
    last = int(months * 30.4375)
    cells: dict[tuple, list[float]] = defaultdict(lambda: [0.0] * 4)
    for unit, age, _ in days_of(fleet):
        place = unit["unit"]
        if age < last:
            longer = cover[place] > middle[family[place]]
            cells[family[place], band(age)][1 if longer else 3] += 1 / 365.25
    failures = fleet.failures.filter(pl.col("age") < last)
    for row in failures.to_dicts():
        if event == "any" or row["water_related"]:
            longer = cover[row["unit"]] > middle[row["family"]]
            cells[row["family"], band(row["age"])][0 if longer else 2] += 1
    above = sum(a * u / (t + u) for a, t, _, u in cells.values())
    below = sum(b * t / (t + u) for _, t, b, u in cells.values())
    told = watch_length(fleet).row(by_predicate=pl.col("event") == event, named=True)
    assert told["months"] == months == 18
    assert above > 0
    assert told["ratio"] == pytest.approx(above / below)
