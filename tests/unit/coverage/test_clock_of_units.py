"""Edition, clock start and the ends of cover of a unit."""

from datetime import date

import polars as pl
import pytest

from pipelines.coverage.clock import unit_terms


def clock_of(tools, bench, unit, *terms):
    """The row of `unit_terms` for the plain unit with these changes."""
    units = tools.records("units", [tools.UNIT | unit])
    models = tools.reference("models", tools.REFERENCE_ROWS["models"])
    editions = bench.terms(*(terms or (tools.BENCH_TERMS,)))
    return unit_terms(units, models, editions).row(0, named=True)


@pytest.mark.parametrize(
    ("unit", "start", "source"),
    [
        ({}, date(2024, 1, 20), "installed_on"),
        ({"installed_on": None}, date(2024, 1, 10), "purchased_on"),
        ({"installed_on": None, "purchased_on": None}, date(2024, 3, 2), "shipped_on"),
    ],
)
def test_the_first_date_listed_starts_the_clock(tools, bench, unit, start, source):
    """Installation, else purchase, else shipment plus 60 days, as the order says."""
    row = clock_of(tools, bench, unit)
    assert (row["clock_start"], row["clock_source"]) == (start, source)


def test_the_order_of_the_terms_rules_even_over_earlier_dates(tools, bench):
    """With purchase listed first the installation date does not count; shipment may be listed."""
    first = tools.changed(start='["purchased_on", "installed_on"]')
    assert clock_of(tools, bench, {}, first)["clock_source"] == "purchased_on"
    shipped = tools.changed(start='["shipped_on"]')
    row = clock_of(tools, bench, {}, shipped)
    assert (row["clock_start"], row["clock_source"]) == (date(2024, 1, 2), "shipped_on")


@pytest.mark.parametrize(
    ("days", "start", "source"),
    [
        (17, date(2024, 1, 19), "latest_after_shipment"),
        (18, date(2024, 1, 20), "installed_on"),
        (19, date(2024, 1, 20), "installed_on"),
    ],
)
def test_the_cap_after_shipment_starts_the_clock_at_the_latest(tools, bench, days, start, source):
    """Shipped on 2 January: 18 days reach the installation on the 20th, 17 do not."""
    terms = tools.changed(latest_days_after_shipment=str(days))
    row = clock_of(tools, bench, {}, terms)
    assert (row["clock_start"], row["clock_source"]) == (start, source)


def test_the_cap_holds_for_a_clock_from_shipment_too(tools, bench):
    """Without any other date the clock starts at the lesser of the two spans."""
    terms = tools.changed(latest_days_after_shipment="30")
    row = clock_of(tools, bench, {"installed_on": None, "purchased_on": None}, terms)
    assert (row["clock_start"], row["clock_source"]) == (
        date(2024, 2, 1),
        "latest_after_shipment",
    )


def test_the_four_ends_are_counted_in_one_step_from_the_start(tools, bench):
    """31 August plus 18 months is the last of February, plus 30 the last of the next."""
    unit = {"shipped_on": "2023-08-01", "purchased_on": "2023-08-20", "installed_on": "2023-08-31"}
    row = clock_of(tools, bench, unit)
    assert row["parts_base_end"] == date(2025, 2, 28)
    assert row["parts_extended_end"] == date(2026, 2, 28)
    assert row["labor_base_end"] == date(2024, 8, 31)
    assert row["labor_extended_end"] == date(2025, 8, 31)


@pytest.mark.parametrize(
    ("unit", "edition"),
    [
        ({"purchased_on": "2019-12-31"}, None),
        ({"purchased_on": "2020-01-01"}, "T1"),
        ({"purchased_on": "2024-05-31"}, "T1"),
        ({"purchased_on": "2024-06-01"}, "T2"),
        ({"purchased_on": None, "shipped_on": "2024-06-01"}, "T2"),
        ({"purchased_on": None, "shipped_on": "2024-05-31"}, "T1"),
        ({"purchased_on": "2024-05-31", "shipped_on": "2024-06-01"}, "T1"),
    ],
)
def test_the_purchase_date_picks_the_edition(tools, bench, unit, edition):
    """The latest edition on or before the purchase; the shipping date where there is none."""
    second = tools.BENCH_TERMS.replace('"T1"', '"T2"').replace("2020-01-01", "2024-06-01")
    row = clock_of(tools, bench, unit, tools.BENCH_TERMS, second)
    assert row["edition"] == edition
    assert (row["clock_start"] is None) == (edition is None)


def test_a_family_may_have_terms_of_its_own(tools, bench):
    """An override for a family changes its units and no others."""
    terms = tools.BENCH_TERMS + "\n[family.G.coverage]\nparts_months = 6\n"
    assert clock_of(tools, bench, {"model": "HAND"}, terms)["parts_base_end"] == date(2024, 7, 20)
    assert clock_of(tools, bench, {"model": "GEN"}, terms)["parts_base_end"] == date(2025, 7, 20)


def test_the_order_of_units_does_not_matter(tools, bench):
    """The result is sorted by serial whatever came in."""
    rows = [tools.UNIT | {"serial": f"U{n}", "purchased_on": f"2024-01-{n + 1:02}"} for n in (3, 1)]
    models = tools.reference("models", tools.REFERENCE_ROWS["models"])
    terms = bench.terms(tools.BENCH_TERMS)
    one = unit_terms(tools.records("units", rows), models, terms)
    two = unit_terms(tools.records("units", rows[::-1]), models, terms)
    assert one.drop("shipped_on").equals(two.drop("shipped_on"))
    assert one.get_column("serial").to_list() == ["U1", "U3"]
    assert one.schema["clock_start"] == pl.Date


def test_editions_do_not_hang_on_the_order_of_the_register(tools, bench):
    """Units that were bought later may stand first; each has the edition of its purchase date."""
    later = tools.BENCH_TERMS.replace('"T1"', '"T2"').replace("2020-01-01", "2024-01-10")
    days = ["2024-05-01", "2024-01-09", "2024-01-10", "2019-12-31", "2023-07-07"]
    units = tools.records(
        "units",
        [
            tools.UNIT | {"serial": f"U{place}", "purchased_on": day, "shipped_on": "2019-01-01"}
            for place, day in enumerate(days)
        ],
    )
    models = tools.reference("models", tools.REFERENCE_ROWS["models"])
    told = unit_terms(units, models, bench.terms(tools.BENCH_TERMS, later))
    assert dict(told.select("serial", "edition").rows()) == {
        "U0": "T2",
        "U1": "T1",
        "U2": "T2",
        "U3": None,
        "U4": "T1",
    }
