"""Combinations of treatments, fit, membranes and tanks."""

import numpy as np
import polars as pl
import pytest

from pipelines.water.membrane import (
    coldest_that_serves,
    hourly_demand,
    least_output_l_per_h,
    membranes_in_the_cold,
    output_l_per_h,
    tank_levels,
    tanks_against_duty,
)
from pipelines.water.treatment import combinations, false_membrane_claims, treatment_fit
from schemas.columns import polars_schema
from schemas.reference import Treatments


def products(choices) -> list[tuple[str, ...]]:
    """The products of each choice."""
    return [choice.products for choice in choices]


def test_fewest_products_then_fewest_other_abilities(treatments) -> None:
    """The softener goes before the membranes, which do more than is called for."""
    choices = combinations(["scale"], treatments)
    assert products(choices) == [("SOFT",), ("RO-16",), ("RO-BAD",)]
    assert choices[1].not_needed == ("chloride", "silica", "tds")


def test_membrane_is_never_counted_on_for_chloramine(treatments) -> None:
    """Reverse osmosis lets chloramine through, whatever the list says (common practice)."""
    assert false_membrane_claims(treatments) == ["RO-BAD"]
    choices = combinations(["chloramine", "chloride"], treatments)
    assert products(choices) == [("CARBON", "RO-16"), ("CARBON", "RO-BAD")]


def test_product_that_adds_nothing_is_left_out(treatments) -> None:
    """A softener beside a membrane that already removes scale is not offered."""
    assert products(combinations(["scale", "tds"], treatments)) == [("RO-16",), ("RO-BAD",)]


def test_incomplete_choices_say_what_they_leave(treatments) -> None:
    """Where nothing corrects pH, the best choices are given with that need unmet."""
    choices = combinations(["ph", "scale"], treatments)
    assert choices[0].products == ("SOFT",)
    assert {choice.unmet for choice in choices} == {("ph",)}


def test_nothing_needed_or_nothing_that_serves(treatments) -> None:
    """No choice in either case."""
    assert combinations([], treatments) == []
    assert combinations(["ph"], treatments) == []


def test_at_most_five_choices_in_a_fixed_order() -> None:
    """Seven equal softeners give the first five by name, whatever the order of the file."""
    rows = [{"product": f"S{i}", "kind": "system", "removes": ["scale"]} for i in range(7)]
    catalog = pl.DataFrame(rows, schema=polars_schema(Treatments))
    expected = [(f"S{i}",) for i in range(5)]
    assert products(combinations(["scale"], catalog)) == expected
    assert products(combinations(["scale"], catalog.reverse())) == expected


def test_fit_names_what_the_installed_systems_leave(treatments) -> None:
    """Abilities of all systems together; cartridges and unknown products add nothing."""
    needs = pl.DataFrame(
        {"serial": ["B", "A", "C"], "needs": [["chloramine", "scale"], ["scale"], []]},
        schema={"serial": pl.String, "needs": pl.List(pl.String)},
    )
    fitted = pl.DataFrame(
        {"serial": ["B", "B", "B", "A"], "product": ["SOFT", "SOFT", "CARBON-C", "CARBON"]}
    )
    fit = treatment_fit(needs, fitted, treatments)
    assert fit["serial"].to_list() == ["A", "B", "C"]
    assert fit["unmet"].to_list() == [["scale"], ["chloramine"], []]
    assert fit["fits"].to_list() == [False, False, True]
    assert fit["fitted"].to_list() == [["CARBON"], ["SOFT"], []]


def test_rating_at_another_temperature_goes_by_way_of_25_c() -> None:
    """A rating at 15 °C gives itself at 15 °C, and more when warmer."""

    def output(celsius: float) -> float:
        return pl.select(output_l_per_h(pl.lit(10.0), pl.lit(15.0), pl.lit(celsius))).item()

    assert output(15.0) == pytest.approx(10.0)
    assert output(25.0) == pytest.approx(10.0 / 0.7036, rel=1e-3)


def test_tank_balance_by_hand() -> None:
    """5 L/h against 12 L/h for 3 hours: 21 L drawn down, refilled in 5 hours."""
    week = tank_levels(5.0, hourly_demand(12.0, 3.0), 30.0, 0)
    assert week["level_l"].to_list()[:9] == [23.0, 16.0, 9.0, 14.0, 19.0, 24.0, 29.0, 30.0, 30.0]
    assert week["short_l"].sum() == 0.0
    assert len(week) == 168


def test_small_tank_runs_short_by_the_hour() -> None:
    """With 10 L the second and third hour lack 4 and 7 L, seven days of the week."""
    tanks = tanks_against_duty(5.0, hourly_demand(12.0, 3.0), [30.0, 10.0])
    assert tanks["tank_l"].to_list() == [10.0, 30.0]
    assert tanks["short_hours"].to_list() == [14, 0]
    assert tanks["short_l"].to_list() == [77.0, 0.0]
    assert tanks["serves"].to_list() == [False, True]


def test_tank_that_lasts_a_week_but_not_a_month_does_not_serve() -> None:
    """Less made in a day than drawn: a large tank only delays it."""
    tanks = tanks_against_duty(1.0, hourly_demand(12.0, 3.0), [500.0])
    assert tanks["short_hours"].to_list() == [0]
    assert tanks["serves"].to_list() == [False]


def test_part_of_an_hour_and_first_fill_count() -> None:
    """2.5 hours of duty draw two and a half hours' feed, and the fill comes first."""
    demand = hourly_demand(10.0, 2.5, first_fill_l=4.0)
    assert demand[:4].tolist() == [14.0, 10.0, 5.0, 0.0]


def test_coldest_supply_that_serves_is_where_the_output_just_suffices() -> None:
    """At that temperature the tank serves; a little colder it does not."""
    demand, rated = hourly_demand(12.0, 10.0), 16.0
    coldest = coldest_that_serves(rated, 25.0, demand, 50.0)
    assert 0.0 < coldest < 25.0

    def serves(celsius: float) -> bool:
        made = pl.select(output_l_per_h(pl.lit(rated), pl.lit(25.0), pl.lit(celsius))).item()
        return tanks_against_duty(made, demand, [50.0])["serves"][0]

    assert serves(coldest + 0.01)
    assert not serves(coldest - 0.01)
    assert coldest_that_serves(0.5, 25.0, demand, 50.0) is None
    assert coldest_that_serves(500.0, 25.0, demand, 50.0) == 0.0
    assert coldest_that_serves(5.0, 25.0, np.zeros(24), 50.0) == 0.0


def test_least_output_is_bound_by_the_day_or_by_the_tank() -> None:
    """A large tank leaves the daily balance, none leaves the feed itself."""
    demand = hourly_demand(12.0, 10.0)
    assert least_output_l_per_h(demand, 1000.0) == pytest.approx(5.0)
    assert least_output_l_per_h(demand, 0.0) == pytest.approx(12.0)


def test_membranes_of_all_units_at_once(treatments) -> None:
    """Output adds up per unit; a unit without a known temperature stays unknown."""
    units = pl.DataFrame(
        {
            "serial": ["U1", "U2", "U3", "U4"],
            "region": ["US-MN", "US-MN", None, "US-MN"],
            "feed_l_per_h": [12.0, 12.0, 12.0, 12.0],
        }
    )
    fitted = pl.DataFrame(
        {
            "serial": ["U1", "U2", "U3", "U4", "U1"],
            "product": ["RO-16", "RO-BAD", "RO-16", "SOFT", "CARBON"],
        }
    )
    regions = pl.DataFrame({"region": ["US-MN"], "coldest_supply_c": [3.0]})
    table = membranes_in_the_cold(
        units, fitted, treatments, regions, duty_hours_per_day=10.0, tanks_l=[60.0, 190.0]
    )
    assert table["serial"].to_list() == ["U1", "U2", "U3"]
    assert table["keeps_up"].to_list() == [True, False, None]
    assert table["tank_l"].to_list() == [60.0, None, None]
    assert table["demand_l_per_day"].to_list() == [120.0] * 3


def test_abilities_of_all_systems_stand_once_in_alphabetical_order(treatments) -> None:
    """However the systems were fitted, and however often."""
    needs = pl.DataFrame({"serial": ["A"], "needs": [["scale"]]})
    systems = treatments.filter(pl.col("kind") == "system")
    for products_ in (systems["product"].to_list(), systems["product"].to_list()[::-1] * 2):
        fitted = pl.DataFrame({"serial": ["A"] * len(products_), "product": products_})
        able = treatment_fit(needs, fitted, treatments)["abilities"].item().to_list()
        assert able == sorted({word for words in systems["removes"] for word in words})
        assert len(able) > 2
