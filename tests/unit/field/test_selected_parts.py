"""Parts of the fleet that are asked for: what each condition, event and stretch leaves."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace

import polars as pl
import pytest

from pipelines.errors import UsageError
from pipelines.field import comparison
from pipelines.field.context import FieldContext
from pipelines.field.figures import always, figure
from pipelines.field.happened import of_event
from pipelines.steps.field_slices import (
    FleetSelection,
    behind_both,
    compared,
    failures_behind,
    figure_rows,
)


def test_either_of_several_days_counts(context: FieldContext) -> None:
    """`failed_on=A|B` keeps the failures and the day watched of either, of every unit."""
    first, second = context.failures["failed_on"].unique().sort().to_list()[40:120:60]
    part = FleetSelection(where=(f"failed_on={first}|{second}",)).of(context)
    failed = context.failures.filter(pl.col("failed_on").is_in([first, second]))
    assert failed["failed_on"].n_unique() == 2
    assert sorted(part.failures["call"]) == sorted(failed["call"])
    watched = sum(
        context.units.filter(pl.col("watched_from") <= day, day < pl.col("watched_until")).height
        for day in (first, second)
    )
    assert (part.spans["exit"] - part.spans["entry"]).sum() == watched


@pytest.mark.parametrize("written", ["family=|", "failed_on=|", "hardness_mg_l_caco3= | "])
def test_a_condition_names_a_value(context: FieldContext, written: str) -> None:
    """Bars alone name none, which must not mean everything."""
    with pytest.raises(UsageError, match="names no value"):
        FleetSelection(where=(written,)).of(context)


def test_a_family_that_does_not_occur_is_named(context: FieldContext) -> None:
    """Also where it is asked for by its own option."""
    with pytest.raises(UsageError, match="did you mean Beck"):
        FleetSelection(family="Bek").of(context)


def test_what_is_not_known_lies_in_no_quarter(context: FieldContext) -> None:
    """A range that is open to the right does not hold units whose quarter is unknown."""
    half = pl.when(pl.col("unit") % 2 == 0).then(pl.lit("2024-Q1")).otherwise(pl.lit("unknown"))
    fleet = replace(
        context,
        units=context.units.with_columns(shipped=half),
        failures=context.failures.with_columns(shipped=half),
    )
    part = FleetSelection(where=("shipped=2023-Q4..",)).of(fleet)
    assert part.units["shipped"].unique().to_list() == ["2024-Q1"]
    assert part.failures["shipped"].unique().to_list() == ["2024-Q1"]


@pytest.mark.parametrize("more", [(), ("family=Beck",)])
def test_a_class_competes_with_the_others_however_it_is_asked_for(
    context: FieldContext, more: tuple[str, ...]
) -> None:
    """`cause_class=scale` as a condition gives the incidence beside all classes."""
    whole = FleetSelection(where=more).of(context)
    beside = always(whole, "first_causes").filter(
        pl.col("by") == "cause_class", pl.col("cause_class") == "scale"
    )
    part = FleetSelection(where=("cause_class=scale", *more)).of(context)
    alone = always(part, "first_causes").filter(pl.col("by") == "cause_class")
    assert beside.height > 20
    assert alone.equals(beside)


def test_a_class_that_nothing_failed_of_keeps_its_rows(context: FieldContext) -> None:
    """A chosen class has its rate of 0 where the rest of the selection has no such failure."""
    fleet = replace(
        context,
        failures=context.failures.filter(
            (pl.col("family") == "Skerry") | (pl.col("cause_class") != "scale")
        ),
    )
    part = FleetSelection(where=("cause_class=scale",), family="Beck").of(fleet)
    rows = figure(part, "rates", ("cause_class",))
    assert rows.select("cause_class", "failures").rows() == [("scale", 0)]


def test_a_failure_outside_the_days_asked_for_is_still_the_first(context: FieldContext) -> None:
    """Of treated days since a day, neither an untreated one's failure nor an earlier one's is
    forgotten."""
    since = dt.date(2024, 6, 1)
    part = FleetSelection(where=("treatment=treated",), since=since).of(context)
    rows = figure(part, "survival", ()).filter(pl.col("event") == "any", pl.col("months") == 60)
    firsts = context.failures.sort("age", "call").unique("unit", keep="first", maintain_order=True)
    own = firsts.filter(pl.col("treatment") == "treated", pl.col("failed_on") >= since)
    forgetful = part.failures["unit"].n_unique()
    assert 0 < own.height < forgetful
    assert rows["failures"].item() == own.height


def test_a_comparison_is_of_one_kind_of_failure(context: FieldContext) -> None:
    """`--event water` counts water-caused failures on both sides, over the same time."""
    whole, water = (compared(context, "family=Beck", None, event) for event in (None, "water"))
    own = context.failures.filter(of_event("water"))
    assert water.a.failures == own.filter(pl.col("family") == "Beck").height < whole.a.failures
    assert water.b.failures == own.filter(pl.col("family") != "Beck").height < whole.b.failures
    assert water.a.unit_years == whole.a.unit_years
    assert [one.method for one in water.ratios] == ["exact", "robust", "mantel_haenszel"]
    with pytest.raises(UsageError, match="no event"):
        compared(context, "family=Beck", None, "rain")


@pytest.mark.parametrize(
    ("sides", "wanted"),
    [
        (("cause_class=scale,family=Beck", "family=Skerry"), "either"),
        (("cause_class=scale,family=Beck", None), "scale"),
    ],
)
def test_failures_of_a_comparison_are_those_of_both_sides(
    context: FieldContext, sides: tuple[str, str | None], wanted: str
) -> None:
    """As many lines as both sides count; against all other days, of the same class there."""
    listed = failures_behind(behind_both(context, *sides), None, context)
    sums = compared(context, *sides)
    scale = pl.col("cause_class") == "scale"
    either = (scale & (pl.col("family") == "Beck")) | (pl.col("family") == "Skerry")
    own = context.failures.filter(either if wanted == "either" else scale)
    assert sorted(listed["call"]) == sorted(own["call"])
    assert listed.height == sums.a.failures + sums.b.failures


def test_a_unit_that_another_limit_binds_does_not_stop(make_fleet: Callable) -> None:
    """See `moved_limits`: treated for that limit alone means that no other needs the ability."""
    from pipelines.field.changed_limits import Moved
    from pipelines.field.moved_limits import _breaks_others

    fleet = make_fleet(20, 3)
    limits = pl.DataFrame(
        {
            "family": ["Beck", "Beck", "Beck", "Skerry"],
            "analyte": [
                "hardness_mg_l_caco3",
                "alkalinity_mg_l_caco3",
                "chloride_mg_l",
                "silica_mg_l",
            ],
            "limit": [70.0, 100.0, 30.0, 5.0],
            "needs": ["scale", "scale", "chloride", "scale"],
        }
    )
    fleet = replace(fleet, grounds=replace(fleet.grounds, limits=limits))
    moved = Moved("Beck", "hardness_mg_l_caco3", 70.0, 90.0, "scale")
    samples = pl.DataFrame(
        {
            "hardness_mg_l_caco3": [80.0] * 4,
            "alkalinity_mg_l_caco3": [100.0, 100.1, None, 50.0],
            "chloride_mg_l": [99.0] * 4,
            "silica_mg_l": [99.0] * 4,
        }
    )
    told = samples.select(alike=_breaks_others(fleet, moved))["alike"].to_list()
    assert told == [False, True, False, False]


def test_a_value_need_occur_in_the_whole_fleet_alone(context: FieldContext) -> None:
    """`--where` may leave a side of a comparison nobody: it has no time, and that is no error."""
    part = FleetSelection(where=("region=US-ME",)).of(context)
    with pytest.raises(UsageError, match="does not occur"):
        compared(part, "region=US-TX", None)
    sums = compared(part, "region=US-TX", None, None, context)
    assert (sums.a.units, sums.a.failures, sums.a.rate_per_100) == (0, 0, None)
    assert sums.b.failures == part.failures.height > 0
    assert behind_both(part, "region=US-TX", None, context).failures.height == sums.b.failures


def test_a_selection_that_nobody_meets_has_its_row(context: FieldContext) -> None:
    """Of one event too: no unit, no rate, and the reason."""
    part = FleetSelection(where=("entry=2030-Q1..",)).of(context)
    for event in (None, "water"):
        (row,) = figure_rows(part, "rates", (), event).to_dicts()
        assert (row["units"], row["failures"], row["low"]) == (0, 0, None), event
        assert "no unit was watched" in row["note"]


def test_what_cannot_be_estimated_is_null_in_any_slice(context: FieldContext) -> None:
    """A group without a failure has no robust limits: null, not a number that is none."""
    quiet = (pl.col("season") == "winter") & (pl.col("cause_class") == "scale")
    fleet = replace(context, failures=context.failures.filter(~quiet))
    rows = figure_rows(fleet, "rates", ("season", "cause_class"), None)
    none = rows.filter(pl.col("failures") == 0)
    assert none.height
    assert none["robust_low"].null_count() == none.height


@pytest.mark.parametrize(
    ("first", "second", "says"),
    [(10, 9, "is higher"), (9, 200, "No difference"), (10, 200, "is higher")],
)
def test_who_is_named_has_ten_failures(first: int, second: int, says: str) -> None:
    """It is the first side that a comparison's sentence calls higher or lower."""
    a, b = (comparison.Side(n, 50, 10.0, 10.0 * n, 1.0, 99.0) for n in (first, second))
    ratio = comparison.Tested("mantel_haenszel", 2.5, 1.5, 4.2, 0.001)
    said = comparison._sentence("A", "B", a, b, ratio)
    assert says in said


def test_a_class_of_no_failure_is_an_event_all_the_same(context: FieldContext) -> None:
    """A class that the causes may have has a rate of 0 before its first failure."""
    assert "gas" not in context.classes
    (row,) = figure_rows(context, "rates", (), "gas").to_dicts()
    assert (row["failures"], row["rate_per_100"]) == (0, 0.0)
    assert row["units"] > 0
    assert compared(context, "family=Beck", None, "gas").a.failures == 0
