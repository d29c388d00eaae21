"""A real laboratory table through a long mapping: every result, non-detect and unit is accounted.

Source and license of the table: README.md beside this file.
"""

import csv
import datetime as dt
from decimal import Decimal
from pathlib import Path

import polars as pl
import pytest

from pipelines.exports import read_rows
from pipelines.records.accounting import account, gather
from pipelines.records.cross_checks import References
from pipelines.records.feed_file import parse_file
from pipelines.records.headers import expected_headers
from pipelines.records.mapping import load_mapping

FOLDER = Path(__file__).parent
TABLE = FOLDER / "usgs_inl_water_samples.csv"
NONE = pl.Series([], dtype=pl.String)
# Column, values, sum of values, bounds, sum of bounds.
EXPECTED = [
    ("alkalinity_mg_l_caco3", 452, 64534.0, 0, 0.0),
    ("calcium_mg_l_caco3", 1309, 164839.846, 0, 0.0),
    ("chloride_mg_l", 1288, 45097.025, 0, 0.0),
    ("conductivity_us_cm", 1040, 495211.96, 0, 0.0),
    ("hardness_mg_l_caco3", 1308, 251457.16, 0, 0.0),
    ("iron_mg_l", 560, 37.709139, 448, 24.92738),
    ("ph", 1041, 8244.03, 0, 0.0),
    ("silica_mg_l", 902, 19976.508, 0, 0.0),
    ("sulfate_mg_l", 1263, 38090.194, 3, 37.24),
    ("temperature_c", 1183, 14790.314, None, None),
]


@pytest.fixture(scope="module")
def accounted():
    """The account of the table as the only file of water_tests."""
    mapping = load_mapping(FOLDER / "water_tests.mapping.toml", "water_tests")
    reading = read_rows(TABLE, known_names=expected_headers("water_tests", mapping))
    parsed = parse_file("water_tests", reading, mapping, "America/Boise")
    return account(
        "water_tests", *gather({TABLE.name: (None, parsed)}), References(NONE, NONE, NONE)
    )


def test_every_row_is_a_record_and_every_sample_a_line(accounted):
    """15,048 rows read are 15,048 records of 1,320 samples; nothing is set aside."""
    columns = ["rows_read", "records", "superseded", "duplicates", "set_aside"]
    assert accounted.accounts.select(columns).rows() == [(15048, 15048, 0, 0, 0)]
    assert accounted.set_aside.is_empty()
    assert accounted.records.height == 1320


@pytest.mark.parametrize(("column", "values", "total", "bounds", "bound_total"), EXPECTED)
def test_counts_and_sums_agree(accounted, column, values, total, bounds, bound_total):
    """Values and non-detects of each analyte, converted to the feed's unit."""
    found = accounted.records[column]
    assert found.count() == values
    assert found.sum() == pytest.approx(total, abs=5e-4 if total > 100 else 5e-7)
    if bounds is not None:
        below = accounted.records[f"{column}_below"]
        assert below.count() == bounds
        assert below.sum() == pytest.approx(bound_total, abs=5e-6)


def test_analytes_that_no_row_has_stay_empty(accounted):
    """The table has neither chlorine nor dissolved solids nor sediment."""
    for column in ("tds_mg_l", "free_chlorine_mg_l", "total_chlorine_mg_l", "sediment_um"):
        assert accounted.records[column].count() == 0


def test_the_time_of_sampling_is_cut_and_never_shifted(accounted):
    """The local day that is written is the day, whatever the offset behind it."""
    with TABLE.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    written = {row["sample_id"]: dt.date.fromisoformat(row["sample_dt"][:10]) for row in rows}
    found = dict(accounted.records.select("sample", "sampled_on").rows())
    assert found == written
    assert accounted.through_date == max(written.values())


def test_one_iron_result_is_exact_in_the_feeds_unit(accounted):
    """Micrograms by decimal arithmetic are the same numbers, values and bounds alike."""
    with TABLE.open(encoding="utf-8", newline="") as lines:
        rows = [row for row in csv.DictReader(lines) if row["parm_short_nm"] == "Iron, wf"]
    assert any(row["result_va"] for row in rows)
    value = pl.coalesce("iron_mg_l", "iron_mg_l_below")
    found = dict(accounted.records.select("sample", value).rows())
    assert all(
        found[row["sample_id"]] == float(round(Decimal(row["result_va"]) / 1000, 9))
        for row in rows
        if row["result_va"]
    )
