"""Every count and every unit-year follows from the failures and the days by selection alone."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import polars as pl
import pytest

from pipelines.field.context import FieldContext
from pipelines.field.dimensions import ALL_DIMENSIONS, BANDS, band_of, season_of
from pipelines.field.failures import field_failures
from pipelines.field.rates import rates
from pipelines.field.slice_rates import PAIRS, SINGLE, rates_by, slice_rates
from pipelines.field.slices import ALWAYS, DIMENSIONS
from pipelines.field.unit_days import split_days


@pytest.fixture(scope="module", params=[3, 4])
def fleet(request, make_fleet: Callable[..., FieldContext]) -> FieldContext:
    """Two small fleets."""
    return make_fleet(120, request.param, rate=2.0)


def selected(failures: pl.DataFrame, row: dict[str, object], event: object = "any") -> int:
    """How many failures a row's dimensions select."""
    kept = failures
    for name, value in row.items():
        where = pl.col("need").list.contains(value) if name == "need" else pl.col(name) == value
        kept = kept.filter(where)
    return kept.filter(pl.col("water_related")).height if event == "water" else kept.height


def test_every_count_of_rates_is_a_selection_of_failures(fleet: FieldContext):
    """Each row of the rates counts the failures whose dimensions are its own."""
    failures = field_failures(fleet)
    assert failures.height > 100
    for dims in ALWAYS:
        for row in rates(fleet, dims).iter_rows(named=True):
            chosen = {name: row[name] for name in DIMENSIONS if row[name] != "all"}
            assert selected(failures, chosen) == row["failures"], row


def test_every_count_of_slices_is_a_selection_of_failures(fleet: FieldContext):
    """The same for each promised slice and pair, by any cause and by water."""
    failures, table = field_failures(fleet), slice_rates(fleet)
    assert set(table["by"]) == {*SINGLE, *(",".join(pair) for pair in PAIRS)}
    for row in table.iter_rows(named=True):
        pairs = ((row["dimension_1"], row["value_1"]), (row["dimension_2"], row["value_2"]))
        chosen = {name: value for name, value in pairs if name != "all"}
        assert selected(failures, chosen, row["event"]) == row["failures"], row


@pytest.mark.parametrize("name", [n for n in SINGLE if n not in ("need", "cause", "part")])
def test_slices_add_up_to_the_whole(fleet: FieldContext, name: str):
    """Failures and unit-years of a dimension without overlap are those of all units."""
    whole, parts = rates_by(fleet, []), rates_by(fleet, [name])
    assert parts["failures"].sum() == whole["failures"].item() > 0
    assert parts["unit_years"].sum() == pytest.approx(whole["unit_years"].item(), rel=1e-12)


def test_days_fall_where_a_walk_over_every_day_finds_them(fleet: FieldContext):
    """Season, month, year and age of each day, counted one day at a time."""
    units = fleet.units.filter(pl.col("watched_days") > 0).head(12)
    days = units.select(
        "unit",
        day=pl.date_ranges("watched_from", "watched_until", closed="left"),
        start="watched_from",
    ).explode("day")
    walked = days.with_columns(
        season=season_of(pl.col("day")),
        year=pl.col("day").dt.strftime("%Y"),
        month_of_year=pl.col("day").dt.strftime("%m"),
        age=band_of((pl.col("day") - pl.col("start")).dt.total_days()),
    )
    dims = ["age", "month_of_year", "season", "year"]
    own = fleet.spans.join(units.select("unit"), on="unit", how="semi")
    found = split_days(own, fleet.units, dims).sort("unit", *dims)
    expected = walked.group_by("unit", *dims).agg(days=pl.len().cast(pl.Int64)).sort("unit", *dims)
    assert found.height > 100
    assert found.select(expected.columns).equals(expected)


def test_bands_begin_on_their_days():
    """An age of 182 days is in the first band, 183 in the second, and so on."""
    ages = pl.DataFrame({"age": [0, 182, 183, 365, 366, 730, 731, 5000]})
    bands = ages.select(band_of(pl.col("age"))).to_series().to_list()
    assert bands == [BANDS[0], BANDS[0], BANDS[1], BANDS[1], BANDS[2], BANDS[2], BANDS[3], BANDS[3]]


def test_first_failures_are_marked_once_a_unit(fleet: FieldContext):
    """Each unit with a failure has one first, one first of water and one of each class."""
    failures = field_failures(fleet)
    assert failures.filter("first_any")["serial"].is_unique().all()
    assert failures.filter("first_any")["serial"].n_unique() == failures["serial"].n_unique()
    water = failures.filter("water_related")
    assert failures.filter("first_water").height == water["serial"].n_unique()
    pairs = failures.select("serial", "cause_class").unique().height
    assert failures.filter("first_of_class").height == pairs
    assert set(ALL_DIMENSIONS) < set(failures.columns)
    assert failures["cost"].sum() > Decimal(0)
