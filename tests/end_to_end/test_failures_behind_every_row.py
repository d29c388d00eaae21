"""Behind every row of the sample's figures stand as many failures as the row says."""

from __future__ import annotations

import polars as pl
import pytest

from schemas.columns import column_names
from schemas.field import FIELD_TABLES
from tests.figures_behind import NOT_SELECTED, SELECTIONS, Tables, came, selected, tables_of, wrong


@pytest.fixture(scope="module")
def tables(sample) -> Tables:
    """The published tables that count failures, and the failures."""
    data = sample[0] / "published" / "data"
    return tables_of(
        (*SELECTIONS, "forecast"), lambda name: pl.read_parquet(data / f"{name}.parquet")
    )


def test_every_table_that_counts_failures_is_looked_at() -> None:
    """A table with a column `failures` is selected, or stands there with the reason why not."""
    counting = {name for name, own in FIELD_TABLES.items() if "failures" in column_names(own)}
    assert counting == {*SELECTIONS, *NOT_SELECTED}


@pytest.mark.parametrize("name", SELECTIONS)
def test_every_row_has_as_many_failures(tables: Tables, name: str) -> None:
    """All slices, all events, all ages and months of each figure."""
    rows = selected(tables, name)
    expected = tables[name].height
    if name == "sensitivity":  # one assumption of four counts failures as they stand
        expected //= 4
    assert rows.height == expected
    assert rows["lines"].sum() > 0
    assert wrong(rows).rows(named=True) == []


def test_what_came_of_earlier_forecasts_is_listed(tables: Tables) -> None:
    """The failures of each month of each earlier forecast, of units then out and sold since."""
    rows = came(tables)
    assert rows.height >= 24
    assert rows["lines"].sum() > 0
    assert wrong(rows).rows(named=True) == []
