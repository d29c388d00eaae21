"""Every figure against a second reading of the page on figures, over seeded worlds.

Source of the expectations: the oracle beside this file, written from the contract's page alone, in
plain Python, one unit and one day at a time. Where the page leaves the formula of a limit open,
the one that the product names is written out again there.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from math import exp

import polars as pl
import pytest

from pipelines.coverage import decide
from pipelines.coverage.evidence import seen
from pipelines.field.cohort_ratios import cohort_ratios
from pipelines.field.comparison import compare, parts_of
from pipelines.field.conditions import read_conditions
from pipelines.field.context import FieldContext
from pipelines.field.early_warning import warnings
from pipelines.field.figures import always, figure, known
from pipelines.field.preparation import prepare
from pipelines.field.slice_rates import rates_by
from pipelines.units.time_at_risk import doubtful_exposure, failures_inside
from pipelines.units.unit_histories import build_histories, disputed_duplicates
from tests.drawn import seeds_anew
from tests.figures_behind import SELECTIONS, selected, tables_of, wrong
from tests.properties.oracle import field_oracle as oracle
from tests.properties.oracle.draws import Draws
from tests.properties.oracle.field_oracle import Failure, Life
from tests.properties.oracle.frames import evidence_of, terms_of
from tests.properties.oracle.oracle import add_months, decide_world
from tests.properties.oracle.scenarios import make_world
from tests.properties.oracle.world import World

SEEDS = (1, 9, 12, 15, 22)
FEWEST_LIVES = 10
CLAIMS = 36
REGIONS = ("US-NM", "US-CO", "US-UT", None)
MONTHS = (0, 1, 5, 12, 16, 17, 24, 32, 60)
DIMENSIONS = ("family", "region", "profile", "startup")
STATES = ("treated", "lapsed", "untreated", "not needed", "untested")


@dataclass(frozen=True)
class Both:
    """One world as the pipelines see it and as the oracle does."""

    histories: pl.DataFrame
    waters: pl.DataFrame
    context: FieldContext
    lives: list[Life]

    def lives_where(self, row: dict) -> list[Life]:
        """The lives of a row's group; dimensions of the failures alone do not count here."""
        return [
            life
            for life in self.lives
            if all(row[name] in ("all", getattr(life, name)) for name in DIMENSIONS)
        ]


def in_regions(world: World, seed: int) -> World:
    """The same world with its units in several regions, some in none that is told."""
    draws = Draws(f"regions {seed}")
    for unit in world.records["units"]:
        unit["region"] = draws.choice(REGIONS)
    return world


@cache
def both(seed: int) -> Both:
    """One world, worked out twice."""
    world = in_regions(make_world(seed, CLAIMS), seed)
    evidence, terms = seen(evidence_of(world)), terms_of(world)
    histories = build_histories(evidence, terms, duty_hours_per_day=10, tanks_l=[60, 190])
    duplicates = disputed_duplicates(evidence, histories)
    calls = evidence.service_calls
    context = prepare(
        histories.units,
        failures_inside(histories.units, calls, evidence.causes, duplicates),
        decide(evidence_of(world), terms).decisions,
        histories.states,
        doubtful_exposure(evidence.units, histories.units, calls, duplicates, evidence.as_of),
        evidence.as_of,
        histories.waters,
    )
    return Both(
        histories.table, histories.waters, context, oracle.live_world(world, decide_world(world))
    )


@pytest.fixture(params=[*SEEDS, *seeds_anew("figures", 1)])
def world(request) -> Both:
    """One world after the other; of those drawn anew, the next that is not nearly empty."""
    seed = request.param
    while len(both(seed).lives) < FEWEST_LIVES:
        seed += 1
    return both(seed)


def same(row: dict, expected: dict, places: str) -> None:
    """Every expected value is there, numbers to a millionth."""
    for name, value in expected.items():
        if value is None:
            assert row[name] is None, (places, name, row[name])
        else:
            assert row[name] is not None, (places, name, value)
            assert float(row[name]) == pytest.approx(float(value), rel=1e-6, abs=1e-12), (
                places,
                name,
            )


def chosen(row: dict):
    """The failures that a row counts, by its event and its class."""

    def counts(failure: Failure) -> bool:
        event = row.get("event", "any")
        of_event = event == "any" or (
            failure.water if event == "water" else failure.cause_class == event
        )
        return of_event and row["cause_class"] in ("all", failure.cause_class)

    return counts


def test_histories(world: Both) -> None:
    """Clock, cover, what the start-up earned, watch and water of every unit."""
    rows = {row["serial"]: row for row in world.histories.iter_rows(named=True)}
    assert set(rows) == {life.serial for life in world.lives}
    for life in world.lives:
        row = rows[life.serial]
        told = {
            "clock_start": life.clock,
            "clock_source": life.clock_source,
            "coverage_end": life.coverage_end,
            "watched_from": life.watched_from,
            "watched_until": life.watched_until,
            "water_profile": life.profile,
        }
        if life.clock is not None:
            told["startup_earned"] = life.earned
        assert {name: row[name] for name in told} == told, life.serial
        assert set(row["needs"]) == life.needs
    unsound = world.context.units.filter(pl.col("unsound").is_not_null())["serial"]
    assert set(unsound) == {life.serial for life in world.lives if life.unsound}


def test_states_of_the_treatment_on_every_day(world: Both) -> None:
    """The state of each day of each watch."""
    told: dict[str, list[str]] = {}
    for row in world.context.states.sort("serial", "entry").iter_rows(named=True):
        told.setdefault(row["serial"], []).extend([row["treatment"]] * (row["exit"] - row["entry"]))
    assert told == {life.serial: life.states for life in oracle.watched(world.lives)}


def test_failures(world: Both) -> None:
    """Which calls count, when, of what class, in which state, and what they cost."""
    told = {
        (
            row["serial"],
            row["call"],
            row["failed_on"],
            row["age"],
            row["cause_class"],
            row["water_related"],
            row["treatment"],
            row["parts"] + row["labor"] + row["travel"],
        )
        for row in world.context.failures.iter_rows(named=True)
    }
    assert told == {
        (life.serial, f.call, f.day, f.age, f.cause_class, f.water, f.treatment, f.cost)
        for life in world.lives
        for f in life.failures
    }


def test_rates_and_costs(world: Both) -> None:
    """Every slice that is always there: counts, time, rate, both limits, thin, and the cost."""
    costs = always(world.context, "costs").filter(
        (pl.col("cause") == "all") & (pl.col("agency") == "all")
    )
    paid = {
        tuple(row[name] for name in ("by", *DIMENSIONS, "cause_class", "treatment")): row
        for row in costs.iter_rows(named=True)
    }
    assert paid
    for row in always(world.context, "rates").iter_rows(named=True):
        lives = world.lives_where(row)
        counts = chosen(row)
        if row["treatment"] == "all":
            expected = oracle.rate(lives, counts)
            inside = [f for life in lives for f in life.failures if counts(f)]
        else:
            expected = oracle.rate_by_state(lives, row["treatment"], counts)
            inside = [
                f
                for life in lives
                for f in life.failures
                if counts(f) and f.treatment == row["treatment"]
            ]
        same(row, expected, row["by"])
        assert row["thin"] == (expected["failures"] < 5 or expected["units"] < 10)
        own = paid[tuple(row[name] for name in ("by", *DIMENSIONS, "cause_class", "treatment"))]
        total = sum((f.cost for f in inside), Decimal(0))
        assert own["total"] == total
        same(own, {"unit_years": expected["unit_years"]}, row["by"])
        each = float(total) / expected["unit_years"] if expected["unit_years"] else None
        same(own, {"cost_per_unit_year": each}, row["by"])


@pytest.mark.parametrize("dims", [(), ("profile",), ("cause_class",), ("family", "cause_class")])
def test_survival_mean_counts_and_costs(world: Both, dims: tuple[str, ...]) -> None:
    """At whole months: at risk, failures, survival with limits; means with robust limits."""
    for name in ("survival", "repeat_failures"):
        table = figure(world.context, name, dims).filter(pl.col("months").is_in(MONTHS))
        assert table.height
        for row in table.iter_rows(named=True):
            lives = world.lives_where(row)
            if name == "survival":
                expected = oracle.survive(lives, chosen(row), row["months"])
                assert row["thin"] == (expected["failures"] < 5 or expected["at_risk"] < 10)
            else:
                end = row["months"] * oracle.MONTH_DAYS
                expected = {"at_risk": sum(0 < life.days >= end for life in lives)}
                if expected["at_risk"]:
                    for kind in ("count", "cost"):
                        mean, error = oracle.mean_cumulative(
                            lives, chosen(row), row["months"], cost=kind == "cost"
                        )
                        expected[f"mean_{kind}"] = mean
                        if mean and error > 1e-12:
                            width = oracle.exp(oracle.Z * error / mean)
                            expected[f"{kind}_low"] = mean / width
                            expected[f"{kind}_high"] = mean * width
            same(row, expected, f"{name} {row}")


@pytest.mark.parametrize("dims", [(), ("profile",), ("family",)])
def test_first_causes(world: Both, dims: tuple[str, ...]) -> None:
    """Competing causes at whole months."""
    table = figure(world.context, "first_causes", dims).filter(pl.col("months").is_in(MONTHS))
    assert table.height
    for row in table.iter_rows(named=True):
        lives = world.lives_where(row)
        if row["incidence"] is not None:
            cause = None if row["cause_class"] == "all" else row["cause_class"]
            share = oracle.first_cause(lives, cause, row["months"])
            same(row, {"incidence": share}, str(row))


def test_the_water_of_a_day() -> None:
    """On every day at risk the test in force, what it needs, how severe, and how far off."""
    assert sum(_days_of_known_water(both(seed)) for seed in SEEDS) > 100


def _days_of_known_water(world: Both) -> int:
    """Compares day by day; how many days had an analyte that is limited."""
    spans: dict[str, list[dict]] = {}
    for span in world.waters.iter_rows(named=True):
        spans.setdefault(span["serial"], []).append(span)
    checked = 0
    for life in oracle.watched(world.lives):
        told = [
            span
            for span in spans.pop(life.serial)
            for _ in range((span["until_on"] - span["from_on"]).days)
        ]
        assert len(told) == life.days
        for day, span, own in zip(oracle.days_of(life), told, life.waters, strict=True):
            assert span["from_on"] <= day < span["until_on"]
            sample, needs, severity, classes = own
            assert (span["sample"], span["needs"], span["severity"]) == (sample, needs, severity)
            ratios = {
                name.removeprefix("ratio_"): value
                for name, value in span.items()
                if name.startswith("ratio_") and value
            }
            assert ratios == classes, (life.serial, day)
            checked += bool(ratios)
    assert not spans
    return checked


def test_regions_against_all_together(world: Both) -> None:
    """Expected failures at the overall rate and the crude ratio, for both kinds of failure."""
    table = always(world.context, "regions")
    assert set(table["by"]) <= {"region"}
    for row in table.iter_rows(named=True):
        whole = oracle.rate(world.lives, chosen(row))
        own = oracle.rate(world.lives_where(row), chosen(row))
        own = {name: own[name] for name in ("failures", "units", "unit_years", "rate_per_100")}
        same(row, own, row["region"])
        if own["unit_years"]:
            expected = own["unit_years"] * whole["failures"] / whole["unit_years"]
            same(row, {"expected": expected}, row["region"])
            ratio = own["failures"] / expected if expected else None
            same(row, {"crude_ratio": ratio}, row["region"])
    for event in ("any", "water"):
        rows = [row for row in table.filter(pl.col("event") == event).to_dicts() if row["expected"]]
        if len(rows) > 1:
            told = oracle.funnel([(row["failures"], row["expected"]) for row in rows])
            for row, expected in zip(rows, told, strict=True):
                same(row, expected, f"{event} {row['region']}")
                # Version 2 of the contract: the adjusted ratio flags, and no crude one.
                told = row["adjusted_q_value"]
                found = told is not None and told <= 0.1 and not row["confounded"]
                assert row["flagged"] == (found and not row["thin"])


def test_early_warnings(world: Both) -> None:
    """What the pair's own past leads to expect by age, the CUSUM's path, and months that alarm."""
    table = warnings(world.context)
    assert table.height
    sums: dict[tuple, float] = {}
    before: dict[tuple, bool] = {}
    alarmed: dict[tuple, set] = {}
    for row in table.iter_rows(named=True):
        month, pair = row["month"], (row["family"], row["cause_class"])
        lives = [life for life in world.lives if life.family == row["family"]]
        if row["expected"] is None:
            assert "because" in row["note"]
            continue
        failures = oracle.failed_in(lives, chosen(row), month, add_months(month, 1))
        assert row["failures"] == failures
        window = [add_months(month, -back) for back in range(4, 28)]
        quiet = [day for day in window if day not in alarmed.get(pair, set())]
        expected = oracle.expected_by_age(lives, chosen(row), quiet, month)
        same(row, {"expected": expected * row["completeness"]}, str(row))
        sums[pair] = max(0.0, sums.get(pair, 0.0) + failures - row["reference_value"])
        same(row, {"cusum": sums[pair]}, str(row))
        rose = failures > row["reference_value"] or before.get(pair, False)
        assert row["alarm"] == (rose and row["cusum"] >= row["decision_value"])
        before[pair] = row["alarm"]
        if row["alarm"]:
            alarmed.setdefault(pair, set()).add(month)


@pytest.mark.parametrize("name", ["need", "needs", "severity", "season", "year", "age"])
def test_slices_by_the_day(world: Both, name: str) -> None:
    """Failures, units, unit-years, rate and limits by what each day is."""
    for event in ("any", "water"):
        table = rates_by(world.context, [name], event).with_columns(
            cause_class=pl.lit("all"), event=pl.lit(event)
        )
        assert table.height >= 1 + (name in ("need", "needs", "severity", "season"))
        for row in table.iter_rows(named=True):
            told = oracle.sliced(world.lives, name, row[name], chosen(row))
            names = ("failures", "units", "unit_years", "rate_per_100", "low", "high")
            same(row, {key: told[key] for key in names}, f"{name} {row[name]}")


def test_quarters_of_entry_against_all(world: Both) -> None:
    """Expected failures of a quarter at the rates of all by family and age band."""
    table = cohort_ratios(world.context).filter(pl.col("event") == "any")
    assert table.height
    cells: dict[tuple, list[int]] = {}
    for life in oracle.watched(world.lives):
        for age in range(life.days):
            cells.setdefault((life.family, oracle.band(age)), [0, 0])[0] += 1
        for failure in life.failures:
            cells[life.family, oracle.band(failure.age)][1] += 1
    for row in table.iter_rows(named=True):
        expected, failures = 0.0, 0
        for life in oracle.watched(world.lives):
            if oracle.quarter(life.watched_from) != row["cohort"]:
                continue
            failures += len(life.failures)
            for age in range(life.days):
                days, count = cells[life.family, oracle.band(age)]
                expected += count / days
        assert row["failures"] == failures
        same(row, {"expected": expected}, row["cohort"])
        if expected:
            same(row, {"ratio": failures / expected}, row["cohort"])


def test_two_sides_by_three_methods(world: Both) -> None:
    """Severe or normal water against all other days: counts, exact ratio, robust and stratified."""
    told = compare(
        parts_of(world.context, read_conditions(["severity=normal|severe"]), None), "a", "b"
    )
    sides: dict[str, list] = {"a": [], "b": []}
    strata: dict[tuple, dict[str, list[int]]] = {}
    for life in oracle.watched(world.lives):
        needs, severity = (oracle.by_day(life, name) for name in ("needs", "severity"))
        side_of = ["a" if value[0] in ("normal", "severe") else "b" for value in severity]
        for side in "ab":
            own = [age for age, there in enumerate(side_of) if there == side]
            count = sum(side_of[failure.age] == side for failure in life.failures)
            sides[side].append((life.serial, count, len(own) / 365.25))
            for age in own:
                cell = strata.setdefault((life.family, needs[age][0], oracle.band(age)), {})
                cell.setdefault(side, [0, 0])[1] += 1
        for failure in life.failures:
            key = (life.family, needs[failure.age][0], oracle.band(failure.age))
            strata[key][side_of[failure.age]][0] += 1
    d, t = ({s: sum(row[n] for row in rows) for s, rows in sides.items()} for n in (1, 2))
    for side, own in (("a", told.a), ("b", told.b)):
        assert own.failures == d[side]
        assert own.unit_years == pytest.approx(t[side], rel=1e-9)
    exact, robust, adjusted = told.ratios
    if d["a"] and d["b"]:
        ratio = d["a"] / t["a"] / (d["b"] / t["b"])
        assert exact.ratio == pytest.approx(ratio, rel=1e-6)
        variance = 0.0
        for (_, ya, ta), (_, yb, tb) in zip(sides["a"], sides["b"], strict=True):
            part = (ya - d["a"] / t["a"] * ta) / d["a"] - (yb - d["b"] / t["b"] * tb) / d["b"]
            variance += part**2
        assert robust.high == pytest.approx(
            ratio * exp(1.959963984540054 * variance**0.5), rel=1e-6
        )
    above = below = left_out = 0.0
    for cell in strata.values():
        if len(cell) < 2:
            left_out += sum(count for count, _ in cell.values())
            continue
        (ya, ta), (yb, tb) = cell["a"], cell["b"]
        above += ya * tb / (ta + tb)
        below += yb * ta / (ta + tb)
    assert told.left_out == left_out
    assert (adjusted.ratio is None) == (not above or not below)
    if adjusted.ratio is not None:
        assert adjusted.ratio == pytest.approx(above / below, rel=1e-6)


@pytest.mark.parametrize("dims", [(), ("region",), ("cause_class",)])
def test_cohorts_as_reported(world: Both, dims: tuple[str, ...]) -> None:
    """Units, failures and their mean by unit still at risk, of each quarter of entry by age."""
    table = figure(world.context, "cohorts", dims)
    assert table.height
    for row in table.iter_rows(named=True):
        kind = chosen(row)
        units, failures = oracle.cohort_cell(
            world.lives_where(row), row["cohort"], row["months"], kind
        )
        own = [
            life
            for life in world.lives_where(row)
            if life.watched_from is not None and oracle.quarter(life.watched_from) == row["cohort"]
        ]
        mean, error = oracle.mean_cumulative(own, kind, row["months"], cost=False)
        told = {"units": units, "failures": failures}
        # Months that no unit has reached are projected, which is another reading's matter.
        assert row["at_risk"] or row["projected"] or not units
        told["mean_per_100"] = 100 * mean if row["at_risk"] else None
        same(row, told, f"{row['cohort']} {row['months']}")
        if row["mean_low"] is not None:
            limits = [100 * mean * exp(sign * 1.959963984540054 * error / mean) for sign in (-1, 1)]
            same(row, dict(zip(("mean_low", "mean_high"), limits, strict=True)), row["cohort"])


@pytest.mark.parametrize("dims", [(), ("region",)])
def test_states_and_their_ratios(world: Both, dims: tuple[str, ...]) -> None:
    """Rates of each state, and Mantel-Haenszel over needs x family."""
    effect = figure(world.context, "treatment_effect", dims)
    assert effect.height
    for row in effect.iter_rows(named=True):
        told = oracle.rate_by_state(world.lives_where(row), row["state"], chosen(row))
        names = ("failures", "unit_years", "rate_per_100", "low", "high")
        same(row, {name: told[name] for name in names}, row["state"])
    ratios = figure(world.context, "treatment_ratios", dims)
    for row in ratios.filter(pl.col("method") == "mantel_haenszel").iter_rows(named=True):
        pair = tuple(row["comparison"].split(" vs "))
        told = oracle.mantel_haenszel(world.lives_where(row), pair, chosen(row))
        same(row, dict(zip(("ratio", "low", "high"), told or (None,) * 3, strict=True)), str(pair))


def test_the_worlds_reach_what_they_are_for() -> None:
    """Over the seeds: every state, failures in each, several profiles, edges of the watch."""
    lives = [life for seed in SEEDS for life in both(seed).lives]
    assert {state for life in lives for state in life.states} == set(STATES)
    assert {f.treatment for life in lives for f in life.failures} == set(STATES)
    assert len({life.profile for life in lives}) > 5
    assert sum(f.age == 0 for life in lives for f in life.failures) > 2
    assert sum(life.unsound for life in lives) > 2
    charts = [warnings(both(seed).context) for seed in SEEDS]
    assert sum(chart["expected"].count() for chart in charts) > 50
    assert sum((chart["cusum"] > 0).sum() for chart in charts) > 20
    assert sum(len(life.failures) > 1 for life in lives) > 5


@pytest.mark.parametrize("seed", [1, 15])
def test_every_row_has_as_many_failures(seed: int) -> None:
    """All slices, events, ages and months of every figure that counts failures."""
    context = both(seed).context
    tables = tables_of(tuple(SELECTIONS), lambda name: known(context, name))
    some = 0
    for name in SELECTIONS:
        rows = selected(tables, name) if tables[name].height else tables[name]
        some += bool(rows.height and rows["lines"].sum())
        assert rows.is_empty() or wrong(rows).rows(named=True) == [], name
    assert some >= 8
