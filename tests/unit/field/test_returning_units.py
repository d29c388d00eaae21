"""Units that come back to a state: each is one unit, however many stretches of it the state has."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from pipelines.field.context import FieldContext
from pipelines.field.figures import figure
from pipelines.field.groups import TimeAtRisk, grouped


def in_one_state(context: FieldContext) -> FieldContext:
    """The same fleet with every stretch called treated, so that units have several of it."""
    treated = pl.lit("treated").alias("treatment")
    return replace(
        context,
        states=context.states.with_columns(treated),
        failures=context.failures.with_columns(treated),
    )


@pytest.mark.parametrize(("units", "thin"), [(9, True), (30, False)])
def test_a_weibull_fit_is_thin_by_units_not_by_their_stretches(make_fleet, units, thin) -> None:
    """Nine units with two or three stretches each are still nine units."""
    context = in_one_state(make_fleet(units, seed=3))
    assert context.states.height > units + 5
    row = (
        figure(context, "weibull", ("treatment",))
        .filter(pl.col("event") == "any", pl.col("treatment") == "treated")
        .row(0, named=True)
    )
    assert context.failures["unit"].n_unique() >= 5
    assert row["thin"] == thin


@pytest.mark.parametrize("kind", ["any", "water", "scale"])
@pytest.mark.parametrize("returning", [False, True])
def test_units_until_a_first_failure_are_counted_once(context, kind, returning) -> None:
    """Unit by unit: those with a stretch that begins no later than their first failure."""
    context = in_one_state(context) if returning else context
    slices = grouped(TimeAtRisk.of(context, by_state=True), ("treatment",))
    kinds = {"any": pl.lit(True), "water": pl.col("water_related")}
    wanted = kinds.get(kind, pl.col("cause_class") == kind)
    first = dict(context.failures.filter(wanted).group_by("unit").agg(pl.col("age").min()).rows())
    found: list[set[int]] = [set() for _ in range(slices.groups.height)]
    for group, unit, entry, _ in zip(*slices.episodes, strict=True):
        if entry <= first.get(unit, np.inf):
            found[group].add(unit)
    assert slices.units_until(kind).tolist() == [len(units) for units in found]


def test_mean_limits_by_state_are_those_of_the_units(context) -> None:
    """With one state for the whole watch, cutting it into stretches changes no mean or limit."""
    cut = in_one_state(context)
    assert cut.states.height > 1.5 * cut.units.height
    whole = figure(context, "repeat_failures", ())
    parts = figure(cut, "repeat_failures", ("treatment",)).filter(pl.col("treatment") == "treated")
    for event in ("any", "water"):
        one, other = (table.filter(pl.col("event") == event) for table in (whole, parts))
        for column in ("mean_count", "count_low", "count_high", "cost_low", "cost_high"):
            np.testing.assert_allclose(
                one[column].to_numpy(), other[column].to_numpy(), rtol=1e-9, err_msg=column
            )
