"""What fitted treatments leave undone, in the units' histories and among what is coming up."""

from __future__ import annotations

from datetime import date

import polars as pl
import pytest

from pipelines.coverage.evidence import Evidence, seen
from pipelines.terms import Terms
from pipelines.units.treatment_fit import _names
from pipelines.units.unit_histories import build_histories
from pipelines.units.upcoming import upcoming_matters
from schemas.columns import polars_schema
from schemas.histories import UnitHistories
from tests.unit.coverage import bench

TREATMENTS = [
    {"product": "SOFT", "kind": "system", "removes": "scale"},
    {"product": "CARBON", "kind": "system", "removes": "chloramine"},
    {"product": "RO-16", "kind": "system", "removes": "scale chloride tds",
     "rated_output_l_per_h": "16", "rated_temperature_c": "25"},
]  # fmt: skip
MODELS = [
    {"model": "GEN", "family": "F", "needs_treatment": "yes", "always_treat": "no",
     "delime_by": "none", "feed_l_per_h": "20"},
    {"model": "HAND", "family": "G", "needs_treatment": "no", "always_treat": "no",
     "delime_by": "none"},
]  # fmt: skip
REGIONS = [
    {"region": "US-WM", "name": "Warm", "coldest_supply_c": "25"},
    {"region": "US-CD", "name": "Cold", "coldest_supply_c": "2"},
]
TEST = {"sample": "LAB-1", "site": "S1", "point": "supply", "sampled_on": "2025-02-01",
        "reported_on": "2025-02-08", "ph": "7.5", "hardness_mg_l_caco3": "150"}  # fmt: skip


@pytest.fixture(scope="module")
def terms(tmp_path_factory: pytest.TempPathFactory) -> Terms:
    """The bench's terms."""
    return bench.terms_of(tmp_path_factory.mktemp("terms"))


def evidence(
    *products: str,
    region: str = "US-WM",
    as_of: str = "2025-06-01",
    water: dict[str, str] | None = TEST,
    model: str = "GEN",
) -> Evidence:
    """One unit at a tested site, with systems bought new and fitted in March."""
    unit = {**bench.UNIT, "model": model, "region": region, "shipped_on": "2025-01-02",
            "purchased_on": "2025-01-05", "installed_on": "2025-01-10"}  # fmt: skip
    bought = [
        {"order": f"O{n}", "line": "1", "ordered_on": "2025-02-20", "site": "S1", "serial": "U1",
         "product": name, "quantity": "1", "condition": "new", "seller": "MAKER"}
        for n, name in enumerate(products)
    ]  # fmt: skip
    fitted = [
        {"call": f"T{n}", "serial": "U1", "kind": "treatment_install", "product": name,
         "opened_on": "2025-03-01", "completed_on": "2025-03-01", "agency": "NORTH"}
        for n, name in enumerate(products)
    ]  # fmt: skip
    given = bench.evidence_of(
        as_of=as_of,
        references={"treatments": TREATMENTS, "models": MODELS, "regions": REGIONS},
        units=[unit],
        water_tests=[water] if water else [],
        treatment_purchases=bought,
        service_calls=fitted,
    )
    return seen(given)


def told(
    given: Evidence, terms: Terms, tanks_l: tuple[float, ...] = (60.0, 190.0)
) -> tuple[dict, pl.DataFrame]:
    """The unit's history as a dict, and what is due of its treatment."""
    histories = build_histories(given, terms, duty_hours_per_day=10.0, tanks_l=tanks_l)
    upcoming = upcoming_matters(given, histories)
    return (
        histories.table.row(0, named=True),
        upcoming.filter(pl.col("matter") == "treatment due"),
    )


def test_columns_are_as_promised(terms: Terms) -> None:
    """The table has the columns and types of its schema, with and without treatment."""
    for products in ((), ("RO-16",)):
        given = evidence(*products)
        table = build_histories(given, terms, duty_hours_per_day=10.0, tanks_l=(60.0,)).table
        assert table.schema == polars_schema(UnitHistories)


def test_nothing_fitted_is_null_and_says_only_what_is_needed(terms: Terms) -> None:
    """Without a system there is nothing that could leave a need."""
    history, due = told(evidence(), terms)
    assert history["treatment_unmet"] is None
    assert history["membrane_keeps_up"] is None
    assert due["at_stake"].to_list() == [
        "cover of failures that water brings about; the water needs treatment for scale"
    ]


def test_untested_water_leaves_the_fit_unknown(terms: Terms) -> None:
    """Where the water is not known, no treatment is said to fit or not to fit."""
    history, due = told(evidence("CARBON", water=None), terms)
    assert history["treatment_unmet"] is None
    assert due.is_empty()


def test_what_is_fitted_but_does_not_serve_is_named(terms: Terms) -> None:
    """Carbon against hard water: the matter says what is fitted and what it leaves."""
    history, due = told(evidence("CARBON"), terms)
    assert history["treatment_unmet"] == ["scale"]
    assert due["at_stake"].item().endswith("; fitted: CARBON, not removed: scale")


def test_systems_count_together(terms: Terms) -> None:
    """Each of two systems leaves one need, both together leave none."""
    water = TEST | {"free_chlorine_mg_l": "0.1", "total_chlorine_mg_l": "1"}
    assert told(evidence("SOFT", water=water), terms)[0]["treatment_unmet"] == ["chloramine"]
    assert told(evidence("CARBON", "SOFT", water=water), terms)[0]["treatment_unmet"] == []


def test_a_membrane_keeps_up_where_the_supply_is_warm(terms: Terms) -> None:
    """At its rating 16 L/h make 384 L for the 200 L of ten hours at 20 L/h; nothing is due."""
    history, due = told(evidence("RO-16"), terms)
    assert history["membrane_keeps_up"] is True
    assert history["membrane_output_l_per_day"] == 384.0
    assert history["membrane_demand_l_per_day"] == 200.0
    assert due.is_empty()


def test_a_membrane_too_small_in_the_cold_is_due_before_winter(terms: Terms) -> None:
    """A colder supply means less output: at 2 °C the same membrane makes 164 L of 200 L.

    16 x 24 x exp[3020 (1/298.15 - 1/275.15)] = 164.67 by hand; the first of December is common
    practice, no source.
    """
    history, due = told(evidence("RO-16", region="US-CD"), terms)
    assert history["membrane_keeps_up"] is False
    assert history["membrane_output_l_per_day"] == pytest.approx(164.67, abs=0.01)
    assert due["due_on"].item() == date(2025, 12, 1)
    assert due["at_stake"].item() == (
        "cover of failures that water brings about; in the coldest month RO-16 makes 164 L of the "
        "200 L that the kitchen draws a day, 36 L a day too little"
    )


def test_a_tank_too_small_for_the_duty_is_told_apart(terms: Terms) -> None:
    """A day's output suffices, yet 40 L are missing by the end of the duty."""
    history, due = told(evidence("RO-16"), terms, tanks_l=(30.0,))
    assert history["membrane_keeps_up"] is False
    assert due["at_stake"].item().endswith("and no tank on sale bridges a day's duty")


def test_a_unit_has_one_matter_of_treatment(terms: Terms) -> None:
    """A membrane that is both too small and not enough for the water gives one row for both."""
    water = TEST | {"free_chlorine_mg_l": "0.1", "total_chlorine_mg_l": "1"}
    _, due = told(evidence("RO-16", region="US-CD", water=water), terms)
    assert due.height == 1
    assert due["due_on"].item() < date(2025, 12, 1)
    assert "not removed: chloramine" in due["at_stake"].item()
    assert "36 L a day too little" in due["at_stake"].item()


@pytest.mark.parametrize(
    ("as_of", "due_on"),
    [("2025-11-30", "2025-12-01"), ("2025-12-01", "2025-12-01"), ("2025-12-02", "2026-12-01")],
)
def test_the_first_of_december_comes_round(terms: Terms, as_of: str, due_on: str) -> None:
    """The day itself is still this winter; the day after it is the next one, if cover lasts."""
    given = evidence("RO-16", region="US-CD", as_of=as_of)
    _, due = told(given, terms)
    # Parts cover ends on 10 July 2026, before the second of those winters.
    expected = [] if due_on > "2026-07-10" else [date.fromisoformat(due_on)]
    assert due["due_on"].to_list() == expected


def test_no_matter_where_the_warranty_asks_for_no_treatment(terms: Terms) -> None:
    """A cooker filled by hand has no feed: its membrane is not judged."""
    history, due = told(evidence("RO-16", region="US-CD", model="HAND"), terms)
    assert history["membrane_keeps_up"] is None
    assert due.is_empty()


def test_a_membrane_that_was_fitted_twice_is_named_once() -> None:
    """Each unit's membranes in alphabetical order; what is no membrane is not named."""
    fitted = pl.DataFrame(
        {"serial": ["U1", "U1", "U1", "U1", "U2"], "product": ["RO", "OS", "RO", "SOFT", "SOFT"]}
    )
    membranes = pl.DataFrame({"product": ["OS", "RO", "XO"]})
    assert _names(fitted, membranes).rows() == [("U1", ["OS", "RO"])]
