"""Which slices there are, forecasts by group, and costs by what a call records."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from decimal import Decimal

import polars as pl
import pytest

from pipelines.errors import UsageError
from pipelines.field.costs import costs_by
from pipelines.field.figures import FIGURES, always, figure, slices_of
from pipelines.field.slices import ALWAYS, ordered
from schemas.columns import polars_schema
from schemas.field import FIELD_TABLES


def test_words_of_a_slice_come_in_one_order() -> None:
    """Region and profile are the same slice either way round; an unknown word is named."""
    assert ordered(["profile", "region"]) == ordered(["region", "profile"]) == ("region", "profile")
    with pytest.raises(UsageError) as caught:
        ordered(["region", "color"])
    assert "color" in str(caught.value)


@pytest.mark.parametrize(
    ("name", "dims", "said"),
    [
        ("forecast", ("treatment",), "forecast cannot be sliced by treatment"),
        ("cohorts", ("region", "treatment"), "cohorts cannot be sliced by treatment"),
        ("sensitivity", ("region",), "leave --by out"),
    ],
)
def test_a_figure_refuses_a_slice_that_means_nothing(context, name, dims, said) -> None:
    """The error names the figure, the dimension and the way out."""
    with pytest.raises(UsageError) as caught:
        figure(context, name, dims)
    assert said in str(caught.value)


@pytest.mark.parametrize("name", list(FIGURES))
def test_every_figure_has_the_columns_of_its_table(context, name: str) -> None:
    """All columns and types of the class, in every slice that is always there."""
    table = always(context, name)
    schema = polars_schema(FIELD_TABLES[name])
    shaped = table.select(pl.col(column).cast(kind) for column, kind in schema.items())
    FIELD_TABLES[name].validate(shaped, lazy=True)
    # Figures of their own slices, and those that are never sliced, have their own words there.
    if (
        "by" in table.columns
        and name not in ("regions", "first_causes")
        and slices_of(name) not in ([()], [])
    ):
        expected = {",".join(dims) or "all" for dims in slices_of(name)}
        extra = {"cause", "agency"} if name == "costs" else set()
        assert set(table["by"]) == expected | extra


def test_the_slices_that_are_always_there() -> None:
    """All, each dimension, and three pairs; what a figure refuses is left out."""
    assert set(slices_of("rates")) == set(ALWAYS)
    assert len(ALWAYS) == 10
    assert ("treatment",) not in slices_of("forecast")
    assert slices_of("regions") == [("region",)]


def test_forecasts_of_waters_differ_as_their_failures_do(make_fleet) -> None:
    """Hard water, which breaks twice as many, is expected to go on so; the parts add up."""
    context = make_fleet(3000, seed=9)
    whole = figure(context, "forecast", ())
    parts = figure(context, "forecast", ("profile",))
    coming = (pl.col("as_of") == context.as_of) & (pl.col("basis") == "all")
    total = whole.filter(coming)["failures"].sum()
    by_water = parts.filter(coming).group_by("profile").agg(pl.col("failures").sum())
    assert by_water["failures"].sum() == pytest.approx(total, rel=0.05)
    count = dict(by_water.iter_rows())
    others = [count[name] for name in ("chloride", "untested", "within limits")]
    assert count["scale-forming"] > 1.6 * max(others)


def test_a_fleet_that_failed_in_the_last_year_alone_has_a_forecast_and_a_record(make_fleet) -> None:
    """As of a year ago nothing could be expected: its rows say so and stand beside today's.

    Months of the year and a trend cannot both be told from failures of one year: a trend without
    end and the months against it fit better and better.
    """
    known = make_fleet()
    last_year = known.failures.filter(pl.col("failed_on") >= dt.date(2025, 1, 5))
    context = replace(known, failures=last_year, as_of=dt.date(2025, 12, 31))
    for name in ("forecast", "forecast_year"):
        table = figure(context, name, ()).filter(pl.col("basis") == "installed")
        today = table.filter(pl.col("as_of") == context.as_of)
        earlier = table.filter(pl.col("as_of") == dt.date(2024, 12, 31))
        assert earlier["low_95"].null_count() == earlier.height > 0
        assert set(earlier["note"]) == {"cannot be estimated, because there was no failure"}
        assert (today["low_95"] <= today["failures"]).all()
        assert (today["failures"] <= today["high_95"]).all()
    whole = pl.col("term").is_in(["trend", "month_of_year"])
    terms = figure(context, "forecast_model", ()).filter(whole)
    assert dict(terms.select("term", "used").rows()) == {"trend": True, "month_of_year": False}


def test_forecasts_of_classes_add_up(context) -> None:
    """A class gets its share of all failures."""
    coming = (pl.col("as_of") == context.as_of) & (pl.col("basis") == "all")
    total = figure(context, "forecast", ()).filter(coming)["failures"].sum()
    parts = figure(context, "forecast", ("cause_class",)).filter(coming)
    assert parts["failures"].sum() == pytest.approx(total)
    assert parts["cause_class"].n_unique() == len(context.classes)


def test_costs_by_cause_and_agency(context) -> None:
    """Every cent is under one cause and one agency; a call without an agency is unknown's."""
    some = pl.when(pl.int_range(pl.len()) % 5 > 0).then("agency")
    failures = context.failures.with_columns(agency=some)
    context = replace(context, failures=failures)
    total = figure(context, "costs", ())["total"].item()
    for record in ("cause", "agency"):
        rows = costs_by(context, record)
        assert rows["total"].sum() == total
        assert set(rows["by"]) == {record}
    without = costs_by(context, "agency").filter(pl.col("agency") == "unknown")
    count = failures["agency"].null_count()
    assert without["parts"].item() == Decimal("100.10") * count
