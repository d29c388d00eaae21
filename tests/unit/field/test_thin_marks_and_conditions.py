"""Thin marks by failures and units at risk, what sentences leave unsaid, conditions as written."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace

import polars as pl
import pytest

from pipelines.errors import UsageError
from pipelines.field.alarms import alarms
from pipelines.field.conditions import read_conditions
from pipelines.field.context import FieldContext
from pipelines.field.dimensions import failure_values
from pipelines.field.figures import figure
from pipelines.field.happened import of_event
from pipelines.field.ratios_to_rest import ComparedGroup as Group
from pipelines.field.screen import screen
from pipelines.field.selection import mark_days, select
from pipelines.field.sentences import _covers, _group_sentence, _screened, _treated
from pipelines.field.sentences_of_alarms import alarmed
from pipelines.field.slice_rates import days_by
from pipelines.field.standard_curves import standard_curves
from pipelines.steps.field_slices import failures_behind


@pytest.mark.parametrize("kind", ["survival", "mean_count"])
def test_a_standardized_curve_is_thin_below_five_failures(
    make_fleet: Callable[..., FieldContext], kind: str
) -> None:
    """Fewer than 5 failures by a month are thin there, however many units are at risk."""
    fleet = make_fleet(120, 2, rate=0.3)
    table = standard_curves(fleet).filter(
        pl.col("by") == "all", pl.col("kind") == kind, pl.col("event") == "water"
    )
    assert table.height > 5
    failures = fleet.failures.filter(of_event("water"))
    if kind == "survival":
        failures = failures.sort("age").unique("unit", keep="first")
    seen = set()
    for row in table.to_dicts():
        happened = failures.filter(pl.col("age") <= row["months"] * 30.4375).height
        assert row["at_risk"] >= 10
        assert row["thin"] == (happened < 5), row
        seen.add(row["thin"])
    assert seen == {True, False}


def test_a_value_of_the_screen_is_thin_by_its_units_at_risk(
    make_fleet: Callable[..., FieldContext],
) -> None:
    """Ten failures in 6 of many units stand on all those units, and are not thin."""
    fleet = make_fleet(300, 5, rate=6.0)
    fleet = replace(fleet, failures=fleet.failures.filter(pl.col("unit") % 15 == 0))
    table = screen(fleet)
    few = table.filter(pl.col("units") < 10, pl.col("dimension") == "region")
    assert few.height
    days = days_by(fleet, ["region"])
    for row in few.to_dicts():
        at_risk = days.filter(pl.col("region") == row["value"])["unit"].n_unique()
        assert row["thin"] == (at_risk < 10)
        failed = failure_values(fleet.failures, ["region", "cause_class"])
        own = failed.filter(
            pl.col("region") == row["value"], pl.col("cause_class") == row["cause_class"]
        )
        assert row["units"] == own["unit"].n_unique()
    assert not few["thin"].all()


def test_a_value_that_all_days_have_says_that_there_are_no_others(
    make_fleet: Callable[..., FieldContext],
) -> None:
    """Without a list of lots every unit is of none: nothing was there to compare it with."""
    fleet = make_fleet(120, 5, rate=6.0)
    assert fleet.units["lot"].unique().to_list() == ["none"]
    rows = screen(fleet).filter(pl.col("dimension") == "lot")
    assert rows.height
    assert rows["ratio"].null_count() == rows.height
    assert set(rows["note"]) == {
        "cannot be estimated, because no other day is of the same family, water and age"
    }
    halved = fleet.units.with_columns(
        lot=pl.when(pl.col("unit") % 2 == 0).then(pl.lit("L1")).otherwise(pl.lit("L2"))
    )
    failures = fleet.failures.filter(pl.col("unit") % 2 == 0).with_columns(lot=pl.lit("L1"))
    other = screen(replace(fleet, units=halved, failures=failures))
    notes = set(other.filter(pl.col("value") == "L1")["note"])
    assert notes == {"cannot be estimated, because no such failure happened on the other days"}


def test_an_alarm_of_few_units_is_thin_and_named_by_no_sentence() -> None:
    """Fewer than 10 units watched: a run of alarms of 12 failures is told in the table alone."""
    months = [dt.date(2025, n, 1) for n in (1, 2)]
    charted = pl.DataFrame(
        {
            "family": ["Beck"] * 2 + ["Linn"] * 2,
            "cause_class": ["scale"] * 4,
            "month": months * 2,
            "failures": [2, 10] * 2,
            "expected": [1.0, 1.0] * 2,
            "cusum": [1.0, 9.0] * 2,
            "alarm": [False, True] * 2,
            "rise": [0, 1] * 2,
        }
    )
    units = pl.DataFrame(
        {"family": ["Beck"] * 9 + ["Linn"] * 10, "watched_days": [100] * 19},
    )
    fleet = _Charted(units, charted)
    table = alarms(fleet)  # type: ignore[arg-type]
    assert dict(table.select("family", "thin").rows()) == {"Beck": True, "Linn": False}
    assert table["began"].to_list() == [months[0]] * 2
    assert "Linn scale" in alarmed(table)
    assert "Beck" not in alarmed(table)


class _Charted:
    """A context whose charts are known."""

    def __init__(self, units: pl.DataFrame, charted: pl.DataFrame) -> None:
        self.units, self._charted = units, charted

    def once(self, key: object, make: Callable[[], object]) -> pl.DataFrame:
        """The charts, whatever is asked for."""
        return self._charted


@pytest.mark.parametrize(
    ("low", "high", "thin", "says"),
    [
        (None, None, True, "Whether units with longer cover fail differently cannot be told."),
        (0.5, 2.0, True, "Whether units with longer cover fail differently cannot be told."),
        (0.5, 2.0, False, "Units with longer cover do not fail differently"),
        (1.1, 2.0, False, "Units with longer cover fail differently from those with shorter"),
    ],
)
def test_no_difference_is_said_only_where_it_was_looked_for(low, high, thin, says) -> None:
    """A ratio that cannot be estimated, or is thin, is not called no difference."""
    row = {"event": "any", "low": low, "high": high, "thin": thin}
    kinds = {"event": pl.String, "low": pl.Float64, "high": pl.Float64, "thin": pl.Boolean}
    assert _covers(pl.DataFrame([row], schema=kinds))[0][3].startswith(says)


@pytest.mark.parametrize(
    ("failures", "ratio", "thin", "says"),
    [
        (10, 0.5, False, "Treated units have fewer first failures"),
        (9, 0.5, False, "Whether treated and untreated units differ in first failures cannot"),
        (10, 0.9, False, "Treated and untreated units do not differ in first failures."),
        (10, 0.5, True, "Whether treated and untreated units differ in first failures cannot"),
    ],
)
def test_treated_units_are_named_from_ten_failures_on(failures, ratio, thin, says) -> None:
    """Below 10 failures, or thin, nothing is told; limits around 1 are no difference."""
    table = pl.DataFrame(
        {
            "by": "all", "comparison": "treated vs untreated", "event": "any",
            "method": "cox_first", "thin": thin, "ratio": ratio, "low": ratio / 1.5,
            "high": ratio * 1.5,
        }
    )  # fmt: skip
    effect = pl.DataFrame({"by": "all", "event": "any", "state": "treated", "failures": failures})
    assert _treated(table, effect)[0][3].startswith(says)


def test_a_region_is_compared_with_all_regions_not_with_the_rest() -> None:
    """The adjusted ratio is to all regions together, and the sentence says so."""
    from pipelines.field.sentences import _OF_REGIONS

    said = _group_sentence([Group("US-ME", 2.0, 1.5, 2.6, 12, 0.01)], *_OF_REGIONS)
    assert said.startswith("By region: US-ME is higher, 2.00 times all regions together")


@pytest.mark.parametrize(
    ("several", "says"), [(4, "; 1 more differs too."), (5, "; 2 more differ")]
)
def test_what_is_not_named_is_counted(several: int, says: str) -> None:
    """Three groups are named, the others are so many more."""
    groups = [Group(f"US-{n}", 2.0, 1.5, 2.6, 12, 0.01) for n in range(several)]
    assert says in _group_sentence(groups, "region")


def test_a_thin_value_of_the_screen_is_named_by_no_sentence() -> None:
    """Flagged in the table, and still never ranked."""
    row = {
        "dimension": "entry", "value": "2025-Q1", "cause_class": "scale", "cause": "all",
        "ratio": 4.0, "low": 2.0, "high": 8.0, "failures": 12, "flagged": True,
    }  # fmt: skip
    table = pl.DataFrame([row | {"thin": thin} for thin in (True, False)])
    assert "entry 2025-Q1" in _screened(table)
    assert _screened(table.filter("thin")).startswith("Nothing stands out among the 1 value ")


def test_serials_of_conditions_are_read_as_those_of_records() -> None:
    """Upper case, without spaces, dashes, dots and slashes, alone and in ranges."""
    one, several = read_conditions(["serial=tk-100/a|TK 7", "serial=tk-100..tk.200"])
    assert one.values == ("TK100A", "TK7")
    assert (several.low, several.high) == ("TK100", "TK200")


@pytest.mark.parametrize(
    "text", ["entry=2025-Q5..", "shipped=2025..2026-Q1", "year=25..", "serial=--..TK9"]
)
def test_a_range_whose_end_is_no_value_is_refused(text: str) -> None:
    """Quarters and years are written in one way, and a serial has letters or digits."""
    with pytest.raises(UsageError):
        read_conditions([text])


def test_a_range_of_lots_holds_no_unit_without_a_lot(
    make_fleet: Callable[..., FieldContext],
) -> None:
    """`none` is no lot, however it compares."""
    fleet = make_fleet(40, 6)
    lots = pl.when(pl.col("unit") < 10).then(pl.lit("L-7")).otherwise(pl.lit("none"))
    fleet = replace(fleet, units=fleet.units.with_columns(lot=lots))
    inside = mark_days(fleet, read_conditions(["lot=L-3.."])).filter("inside")
    assert 0 < inside["unit"].n_unique() <= 10
    assert inside["unit"].max() < 10


@pytest.mark.parametrize("name", ["rates", "regions", "costs", "treatment_effect"])
def test_units_that_come_back_to_the_days_chosen_count_once(
    make_fleet: Callable[..., FieldContext], name: str
) -> None:
    """Winters of several years: a unit is one unit, and each failure counts once."""
    fleet = make_fleet(80, 9, rate=4.0)
    winter = select(fleet, read_conditions(["season=winter"]))
    own = fleet.failures.filter(pl.col("failed_on").dt.month().is_in([12, 1, 2]))
    spans = winter.spans.with_columns(days=pl.col("exit") - pl.col("entry"))
    assert spans["unit"].n_unique() < spans.height
    table = figure(winter, name, ("region",) if name == "regions" else ())
    if name == "costs":
        assert (
            table["total"].item()
            == own.select(pl.sum_horizontal("parts", "labor", "travel"))["parts"].sum()
        )
        return
    rows = table.filter(pl.col("event") == "any") if "event" in table.columns else table
    assert rows["failures"].sum() == own.height > 50
    assert rows["unit_years"].sum() == pytest.approx(spans["days"].sum() / 365.25)
    if name in ("rates", "regions"):
        assert rows["units"].sum() == spans["unit"].n_unique()


def test_first_failures_of_a_selection_are_the_units_first_of_all(
    make_fleet: Callable[..., FieldContext],
) -> None:
    """A unit that failed in autumn before has no first failure among its winters'."""
    fleet = make_fleet(40, 9, rate=4.0)
    winter = select(fleet, read_conditions(["season=winter"]))
    told = failures_behind(winter, "any", fleet)
    first = fleet.failures.sort("age", "call").unique("unit", keep="first", maintain_order=True)
    own = first.filter(pl.col("season") == "winter")
    assert told.height == winter.failures.height
    assert set(told.filter("first_any")["call"]) == set(own["call"])
    assert 0 < own.height < told["serial"].n_unique()
