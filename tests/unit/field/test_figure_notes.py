"""Sentences on clock starts and reporting lags beside the figures."""

from __future__ import annotations

import polars as pl

from pipelines.field.notes import figure_notes
from pipelines.field.sensitivity import ASSUMPTIONS


def rates(region: str, *values: float, thin: bool = False) -> list[dict]:
    """One row an assumption, in their order."""
    return [
        {
            "region": region,
            "assumption": assumption,
            "rate_per_100": value,
            "low": value - 1,
            "high": value + 1,
            "thin": thin,
        }
        for assumption, value in zip(ASSUMPTIONS, values, strict=True)
    ]


NAMES = pl.DataFrame({"region": ["US-ME", "US-OR"], "name": ["Maine", None]})
TABLES = {
    "clock_starts": pl.DataFrame(
        {
            "region": ["all", "US-ME", "US-OR"],
            "units": [200, 150, 50],
            "from_shipment": [30, 30, 0],
            "from_shipment_share": [0.15, 0.2, 0.0],
            "unsound": [4, 3, 1],
        }
    ),
    "sensitivity": pl.DataFrame(
        [
            *rates("all", 20.0, 21.0, 20.5, 22.0),
            *rates("US-ME", 10.0, 10.1, 14.0, 10.2),
            *rates("US-OR", 30.0, 30.0, 31.0, 31.5),
            *rates("US-TX", 1.0, 9.0, 9.0, 9.0, thin=True),
        ]
    ),
    "reporting_lags": pl.DataFrame(
        {
            "stage": ["failure to call"] * 3 + ["failure to claim"] * 3,
            "days": [0, 7, 14] * 2,
            "share_reported": [0.4, 0.6, 0.96, 0.0, 0.2, 0.5],
            "failures": [50] * 6,
        }
    ),
}


def test_each_figure_has_the_sentences_that_bear_on_it() -> None:
    """Share and worth of guessed clocks, the lag and what it adds, who is left out where."""
    assert figure_notes(TABLES, NAMES) == {
        "rates": [
            "30 of 200 units (15.0%) have a clock start taken from shipment; without them "
            "the rate is 21.0 (20.0 to 22.0) per 100 unit-years instead of 20.0.",
            "Half of all failures have a call within 7 days and 95 % within 14.",
            "With the reports that are still to come the rate is 22.0 (21.0 to 23.0) per 100 "
            "unit-years instead of 20.0.",
        ],
        "regions": [
            "4 units without a sound clock start are left out: 3 in Maine and 1 in US-OR.",
            "No region’s rate moves more with what is assumed of clock starts and reports than "
            "Maine’s: from 10.0 to 14.0 (13.0 to 15.0) per 100 unit-years (unsound clock starts "
            "taken from shipment).",
        ],
        "cohorts": ["Half of all failures have a call within 7 days and 95 % within 14."],
    }


def test_tables_without_a_failure_or_a_unit_say_nothing() -> None:
    """No sentence from nothing, and no fault."""
    assert figure_notes({}, NAMES) == {}
    assert figure_notes({name: frame.clear() for name, frame in TABLES.items()}, NAMES) == {}
    sure = TABLES["clock_starts"].with_columns(from_shipment=pl.lit(0))
    few = TABLES["reporting_lags"].with_columns(failures=pl.lit(4))
    said = figure_notes({"clock_starts": sure, "reporting_lags": few}, NAMES)
    assert said["rates"] == ["No unit’s clock start had to be taken from its shipment."]
    none = TABLES["sensitivity"].with_columns(rate_per_100=pl.lit(None, pl.Float64))
    quiet = figure_notes(TABLES | {"sensitivity": none}, NAMES)
    assert quiet["rates"][0] == ("30 of 200 units (15.0%) have a clock start taken from shipment.")
