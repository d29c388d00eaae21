"""Lots by serial, cold supply by region, and days split by water, treatment and product."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest

from pipelines.units.unit_dimensions import lots_of, with_dimensions
from pipelines.units.watch_spans import no_systems, watch_spans

LOTS = pl.DataFrame(
    {
        "lot": ["L1", "L2", "L3"],
        "serial_from": ["F100", "F90", "FX5"],
        "serial_to": ["F200", "F1000", "FX7"],
        "model": [None, "FR-6", None],
    }
)


@pytest.mark.parametrize(
    ("serial", "model", "lot"),
    [
        ("F99", "FR-6", "L2"),
        ("F99", "FR-8", None),  # the row names a model that is not its own
        ("F100", "FR-8", "L1"),
        ("F0200", "FR-8", "L1"),  # numbers, not digits
        ("F201", "FR-6", "L2"),
        ("F150", "FR-6", "L1"),  # the first row that holds it
        ("F1000", "FR-6", "L2"),
        ("F1001", "FR-6", None),
        ("FX6", "FR-6", "L3"),
        ("FY6", "FR-6", None),
        ("5FX", "FR-6", "L3"),  # its text without digits is theirs
    ],
)
def test_a_unit_belongs_to_the_first_range_that_holds_it(serial: str, model: str, lot: str | None):
    """Ends included; texts first, then numbers; the model where the row names one."""
    units = pl.DataFrame({"serial": [serial], "model": [model]})
    assert lots_of(units, LOTS)["lot"].to_list() == ([lot] if lot else [])


def test_words_of_a_unit():
    """Cold to 6 °C, cool to 12, mild above; quarters of its own clock start and shipment."""
    units = pl.DataFrame(
        {
            "serial": ["A", "B", "C", "D", "E"],
            "model": ["M"] * 5,
            "region": ["c6", "c6.1", "c12", "c12.1", None],
            "shipped_on": [dt.date(2025, 3, 31)] * 5,
            "own_clock_start": [dt.date(2025, 4, 1)] * 4 + [None],
        },
        schema_overrides={"own_clock_start": pl.Date},
    )
    regions = pl.DataFrame(
        {
            "region": ["c6", "c6.1", "c12", "c12.1"],
            "coldest_supply_c": [6.0, 6.1, 12.0, 12.1],
        }
    )
    told = with_dimensions(units, regions, None)
    assert told["cold_supply"].to_list() == ["cold", "cool", "cool", "mild", "unknown"]
    assert told["shipped"].to_list() == ["2025-Q1"] * 5
    assert told["entry"].to_list() == ["2025-Q2"] * 4 + [None]
    assert told["lot"].to_list() == ["none"] * 5


def _spans(fitted: pl.DataFrame) -> list[tuple[object, ...]]:
    january, may = dt.date(2025, 1, 1), dt.date(2025, 5, 1)
    waters = pl.DataFrame(
        {
            "serial": ["A", "A"],
            "from_on": [january, dt.date(2025, 3, 1)],
            "until_on": [dt.date(2025, 3, 1), may],
            "sample": [None, "W1"],
            "needs": ["untested", "scale"],
            "severity": ["untested", "normal"],
        }
    )
    states = pl.DataFrame(
        {
            "serial": ["A", "A"],
            "from_day": [january, dt.date(2025, 2, 1)],
            "until_day": [dt.date(2025, 2, 1), may],
            "state": ["untreated", "treated"],
        }
    )
    columns = ("from_on", "until_on", "needs", "treatment", "product")
    return watch_spans(waters, states, fitted).select(columns).rows()


def test_days_split_at_each_change():
    """A new water, a new state and a new product each begin a stretch; products add up."""
    fitted = pl.DataFrame(
        {
            "serial": ["A", "A", "A"],
            "product": ["SOFT", "CARB", "LATE"],
            "active_from": [dt.date(2024, 6, 1), dt.date(2025, 2, 1), dt.date(2025, 5, 1)],
        }
    )
    jan, feb, mar, may = (dt.date(2025, month, 1) for month in (1, 2, 3, 5))
    assert _spans(fitted) == [
        (jan, feb, "untested", "untreated", "SOFT"),
        (feb, mar, "untested", "treated", "CARB+SOFT"),
        (mar, may, "scale", "treated", "CARB+SOFT"),
    ]
    assert {row[-1] for row in _spans(no_systems())} == {"none"}


def test_a_product_that_was_bought_twice_is_told_once():
    """Two of one kind are still that product alone."""
    days = [dt.date(2024, 6, 1), dt.date(2025, 2, 1), dt.date(2025, 2, 1)]
    fitted = pl.DataFrame(
        {"serial": ["A"] * 3, "product": ["SOFT", "SOFT", "CARB"], "active_from": days}
    )
    assert [row[-1] for row in _spans(fitted)] == ["SOFT", "CARB+SOFT", "CARB+SOFT"]
