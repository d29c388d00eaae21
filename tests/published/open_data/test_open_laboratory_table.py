"""A real laboratory table of 15,048 results, through a long mapping, against its published sums.

Source and licence of the table: README.md beside it (USGS, public domain).
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import polars as pl
import pytest

from pipelines.exports import read_rows
from pipelines.records.accounting import Accounted, account, gather
from pipelines.records.cross_checks import References
from pipelines.records.feed_file import parse_file
from pipelines.records.headers import expected_headers
from pipelines.records.mapping import load_mapping

HERE = Path(__file__).parent
NONE = pl.Series([], dtype=pl.String)

# Column: values, sum of values, bounds, sum of bounds (README.md).
FIGURES = {
    "alkalinity_mg_l_caco3": (452, 64_534.0, 0, 0.0),
    "calcium_mg_l_caco3": (1_309, 164_839.846, 0, 0.0),
    "chloride_mg_l": (1_288, 45_097.025, 0, 0.0),
    "conductivity_us_cm": (1_040, 495_211.96, 0, 0.0),
    "hardness_mg_l_caco3": (1_308, 251_457.16, 0, 0.0),
    "iron_mg_l": (560, 37.709139, 448, 24.92738),
    "ph": (1_041, 8_244.03, 0, 0.0),
    "silica_mg_l": (902, 19_976.508, 0, 0.0),
    "sulfate_mg_l": (1_263, 38_090.194, 3, 37.24),
    "temperature_c": (1_183, 14_790.314, 0, 0.0),
}


@pytest.fixture(scope="module")
def accounted() -> Accounted:
    """The table, read, parsed and accounted once."""
    mapping = load_mapping(HERE / "water_tests.mapping.toml", "water_tests")
    names = expected_headers("water_tests", mapping)
    reading = read_rows(HERE / "usgs_inl_water_samples.csv", known_names=names)
    parsed = parse_file("water_tests", reading, mapping, "America/Boise")
    return account(
        "water_tests", *gather({"water_tests/usgs.csv": (None, parsed)}), References(*[NONE] * 3)
    )


def test_every_result_is_a_record_and_every_sample_one_line(accounted: Accounted) -> None:
    """15,048 rows read are 15,048 records, of 1,320 samples at 288 places."""
    only = accounted.accounts.row(0, named=True)
    assert (only["rows_read"], only["records"]) == (15_048, 15_048)
    assert (only["superseded"], only["duplicates"], only["set_aside"]) == (0, 0, 0)
    assert accounted.records.height == accounted.records["sample"].n_unique() == 1_320
    assert accounted.records["site"].n_unique() == 288
    assert accounted.records["point"].unique().to_list() == ["supply"]


def _half_digit(column: str) -> float:
    """Half of the last digit to which the sums of a column are published."""
    return 5e-7 if column == "iron_mg_l" else 5e-4


@pytest.mark.parametrize("column", FIGURES)
def test_values_and_non_detects_add_up(accounted: Accounted, column: str) -> None:
    """Counts are exact, and sums agree to the last published digit, units converted."""
    count, total, bounds, bound_total = FIGURES[column]
    values = accounted.records[column].drop_nulls()
    assert len(values) == count
    assert values.sum() == pytest.approx(total, abs=_half_digit(column))
    if f"{column}_below" in accounted.records.columns:
        below = accounted.records[f"{column}_below"].drop_nulls()
        assert len(below) == bounds
        assert below.sum() == pytest.approx(bound_total, abs=_half_digit(column))
    else:
        assert bounds == 0


def test_no_sample_has_a_value_and_a_bound(accounted: Accounted) -> None:
    """What was not detected has no value."""
    both = pl.col("iron_mg_l").is_not_null() & pl.col("iron_mg_l_below").is_not_null()
    assert accounted.records.filter(both).is_empty()


def test_days_are_those_written_beside_the_offset(accounted: Accounted) -> None:
    """The time is cut, never shifted; the file is complete to its last sample's day."""
    days = pl.read_csv(HERE / "usgs_inl_water_samples.csv", infer_schema=False).select(
        sample="sample_id", day=pl.col("sample_dt").str.head(10).str.to_date()
    )
    got = accounted.records.select("sample", day="sampled_on").sort("sample")
    assert got.equals(days.unique().sort("sample"))
    assert accounted.through_date == days["day"].max()
    assert accounted.through_date.year == dt.date(2023, 1, 1).year
