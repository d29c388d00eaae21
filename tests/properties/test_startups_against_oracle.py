"""Reviews, recommendations and journeys against a second reading, over seeded worlds.

Source of the expectations: `oracle/startups_oracle.py`, written from the contract's page on
start-ups alone; for the shares of `journey_rates`, lifelines.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from functools import cache

import lifelines
import polars as pl
import pytest

from pipelines.coverage import seen
from pipelines.startups.journey_rates import STEPS, journey_rates
from pipelines.startups.tables import startup_tables
from schemas import codes
from tests.drawn import seeds_anew
from tests.properties.oracle.draws import Draws
from tests.properties.oracle.frames import evidence_of, terms_of
from tests.properties.oracle.scenarios import make_world
from tests.properties.oracle.startups_oracle import (
    findings_of,
    journey_of,
    recommendation_of,
    review_of,
    units_of,
)
from tests.properties.oracle.world import World, as_known

WORLDS, CLAIMS = 20, 30
TOLD_OF_RECOMMENDATIONS = (
    "edition",
    "sample",
    "sampled_on",
    "reported_on",
    "needs",
    "severity",
    "state",
    "recommended",
    "alternatives",
    "unmet",
    "due_on",
    "days_left",
    "bought_on",
    "installed_on",
    "kept_until",
)


def make_startup_world(seed: int) -> tuple[World, dict[str, date | None]]:
    """A world of claims with terms and readings of start-ups, and when each unit's cover ends."""
    world = make_world(seed, CLAIMS)
    draws = Draws(seed + 5000)
    for edition in world.editions:
        own = edition.setdefault("installation", {})
        own["must_report"] = draws.some(codes.REPORTED, 5)
        if draws.chance(0.7):
            own["two_lines_above_f"] = Decimal("90")
        own["two_lines_when_treated"] = draws.chance(0.6)
        edition.pop("conditions_off", None) if draws.chance(0.5) else None
    products = [t["product"] for t in world.reference["treatments"]]
    for report in world.records["startups"]:
        step = draws.choice((Decimal(0), Decimal("0.1"), Decimal("-0.1")))
        report["agency"] = draws.choice(("ALDER", "BIRCH", None))
        report["static_pressure_psi"] = draws.choice((None, Decimal("60")))
        report["supply_temperature_f"] = draws.choice((None, Decimal("90") + step))
        report["side_clearance_in"] = draws.choice((None, Decimal("12")))
        report["sample_taken"] = draws.choice((True, False, None))
        if draws.chance(0.1):
            report["treatment_product"] = draws.choice(products)
    units = world.records["units"]
    for unit in units:
        if draws.chance(0.08):
            other = draws.choice(units)
            # One that was shipped later cannot have been replaced by it.
            before = other["shipped_on"] < unit["shipped_on"]
            unit["replaces"] = other["serial"] if before else None
    as_of = world.as_of
    if seed % 2:
        # Soon after a test is reported, so that there is time to fit what it calls for.
        told = [t["reported_on"] or t["sampled_on"] for t in world.records["water_tests"]]
        as_of = draws.choice(told) + timedelta(days=draws.choice((0, 1, 15, 30)))
        world = replace(world, as_of=as_of)
    if seed % 4 > 1:
        # A membrane alone claims to remove chloramine, which it does not; half bought nothing.
        orders = world.records["treatment_purchases"]
        world.records["treatment_purchases"] = [row for row in orders if draws.chance(0.5)]
        for test in world.records["water_tests"]:
            if draws.chance(0.5):
                test |= {"free_chlorine_mg_l": Decimal("0.1"), "free_chlorine_mg_l_below": None}
                test |= {"total_chlorine_mg_l": Decimal("1"), "total_chlorine_mg_l_below": None}
        for product in world.reference["treatments"]:
            if product["product"] == "CARBON":
                product["removes"] = ["chlorine", "sediment"]
            if product["product"] == "MEMBRANE":
                product["removes"] = ["chloramine", "chloride", "scale", "silica", "tds"]
                product |= {"rated_output_l_per_h": Decimal(10), "rated_temperature_c": Decimal(25)}
    cover = {
        unit["serial"]: draws.choice(
            (None, as_of, as_of + timedelta(days=1), *(as_of + timedelta(days=90),) * 5)
        )
        for unit in units
    }
    return world, cover


@cache
def tables_of(seed: int):
    """The world as it is known, its units, when cover ends, and the tables."""
    world, cover = make_startup_world(seed)
    covers = pl.DataFrame(
        {"serial": list(cover), "coverage_end": list(cover.values())},
        schema={"serial": pl.String, "coverage_end": pl.Date},
    )
    tables = startup_tables(
        seen(evidence_of(world)),
        terms_of(world),
        covers,
        duty_hours_per_day=10.0,
        tanks_l=[60.0, 190.0],
    )
    known = as_known(world)
    return known, units_of(known), cover, tables


def differing(told: dict, expected: dict) -> dict:
    """What differs, as (told, expected) by key and column."""
    assert told.keys() == expected.keys()
    return {
        (key, column): (told[key][column], value)
        for key, row in expected.items()
        for column, value in row.items()
        if told[key][column] != value
    }


@pytest.mark.parametrize("seed", [*range(WORLDS), *seeds_anew("startups", 4)])
def test_reports_are_reviewed_as_the_page_says(seed: int) -> None:
    """Every reading that is looked at, and what each report comes to."""
    known, units, _, tables = tables_of(seed)
    done = [
        s
        for s in known.records["startups"]
        if s["completed_on"] is not None and s["serial"] in units
    ]
    columns = ["value", "unit", "limit_min", "limit_max", "outcome"]
    expected = {
        (report["report"], reading): dict(zip(columns, found, strict=True))
        for report in done
        for reading, found in findings_of(known, units[report["serial"]], report).items()
    }
    told = {(r["report"], r["reading"]): r for r in tables["installation_findings"].to_dicts()}
    assert not differing(told, expected)
    reviews = {r["report"]: r for r in tables["startup_reviews"].to_dicts()}
    assert not differing(
        reviews, {s["report"]: review_of(known, units[s["serial"]], s) for s in done}
    )


@pytest.mark.parametrize("seed", [*range(WORLDS), *seeds_anew("startups", 4)])
def test_recommendations_are_as_the_page_says(seed: int) -> None:
    """State, needs, days and what is recommended, of every unit in cover."""
    known, units, cover, tables = tables_of(seed)
    expected = {
        serial: told
        for serial, unit in units.items()
        if (told := recommendation_of(known, unit, cover[serial])) is not None
    }
    told = {
        row["serial"]: {name: row[name] for name in TOLD_OF_RECOMMENDATIONS}
        for row in tables["treatment_recommendations"].to_dicts()
    }
    assert not differing(told, expected)


@pytest.mark.parametrize("seed", [*range(WORLDS), *seeds_anew("startups", 4)])
def test_journeys_are_as_the_page_says(seed: int) -> None:
    """The days of every unit on the register."""
    known, units, _, tables = tables_of(seed)
    expected = {serial: journey_of(known, unit) for serial, unit in units.items()}
    told = {row["serial"]: row for row in tables["journeys"].to_dicts()}
    assert not differing(told, expected)


@pytest.mark.parametrize("seed", range(4))
def test_shares_agree_with_lifelines(seed: int) -> None:
    """Each step in each slice: units, who reached it, median and shares with log-log limits."""
    known, units, _, tables = tables_of(seed)
    rates = journey_rates(tables["journeys"], known.as_of)
    left = {
        serial: [d for d in (unit.row["retired_on"], unit.replaced_on) if d is not None]
        for serial, unit in units.items()
    }
    expected: dict[tuple, list[tuple[int, bool]]] = {}
    for row in tables["journeys"].to_dicts():
        for step, (before, _) in STEPS.items():
            since, day = row[f"{before}_on"], row[f"{step}_on"]
            if since is None or (step in ("bought", "installed") and not row["needs_treatment"]):
                continue
            end = day or min([known.as_of, *left[row["serial"]]])
            wait = max((end - since).days, 0), day is not None
            for by in codes.JOURNEY_SLICES:
                value = "all" if by == "all" else row[by] or "none"
                expected.setdefault((by, value, step), []).append(wait)
    told = {(r["by"], r["value"], r["step"]): r for r in rates.to_dicts()}
    assert told.keys() == expected.keys()
    for key, waits in expected.items():
        _same_as_lifelines(told[key], waits)


def _same_as_lifelines(row: dict, waits: list[tuple[int, bool]]) -> None:
    days, reached = zip(*waits, strict=True)
    assert (row["units"], row["reached"]) == (len(waits), sum(reached))
    assert row["thin"] == (len(waits) < 10 or sum(reached) < 5)
    curve = lifelines.KaplanMeierFitter().fit(days, reached)
    # lifelines asks for exactly a half; the page for a half to 1e-9.
    halves = [
        day for day, left in curve.survival_function_["KM_estimate"].items() if left <= 0.5 + 1e-9
    ]
    assert row["median_days"] == (int(halves[0]) if halves else None)
    for within in (30, 60, 90, 180):
        left = float(curve.predict(within))
        if within > max(days) and left > 0:
            assert row[f"share_{within}"] is None
            continue
        assert row[f"share_{within}"] == pytest.approx(1 - left, abs=1e-9)
        limits = row[f"share_{within}_low"], row[f"share_{within}_high"]
        if left in (0, 1):
            assert limits == (None, None)
            continue
        at = curve.confidence_interval_.loc[:within].iloc[-1]
        assert limits == pytest.approx((1 - at.iloc[1], 1 - at.iloc[0]), abs=1e-6)


def test_the_worlds_reach_every_state() -> None:
    """Over the same seeds each outcome, result and state comes up at least three times."""
    seen_words: Counter = Counter()
    for seed in range(WORLDS):
        tables = tables_of(seed)[3]
        for table, column in (
            ("installation_findings", "outcome"),
            ("startup_reviews", "result"),
            ("treatment_recommendations", "state"),
            ("journeys", "requested_in_time"),
        ):
            seen_words.update((column, word) for word in tables[table][column])
        journeys = tables["journeys"]
        seen_words["lapse"] += journeys["first_lapse_on"].is_not_null().sum()
        kept = tables["treatment_recommendations"]["kept_until"]
        seen_words["kept_until"] += kept.is_not_null().sum()
    wanted = [
        *(("outcome", word) for word in codes.READING_OUTCOMES),
        *(("result", word) for word in codes.REVIEW_RESULTS),
        *(("state", word) for word in codes.RECOMMENDATION_STATES),
        *(("requested_in_time", word) for word in ("met", "unmet", "unknown")),
        "lapse",
        "kept_until",
    ]
    assert [word for word in wanted if seen_words[word] < 3] == []
