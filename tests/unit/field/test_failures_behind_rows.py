"""Behind the rows of other figures than rates: as many failures as the row says."""

from __future__ import annotations

from collections.abc import Callable

import polars as pl
import pytest

from pipelines.field.context import FieldContext
from pipelines.field.failures import field_failures
from pipelines.field.figures import figure

MONTH_DAYS = 30.4375
LABELS = ("family", "region", "profile", "cause_class", "startup", "treatment")


def selected(failures: pl.DataFrame, row: dict, **further: object) -> pl.DataFrame:
    """The failures whose columns are those of the row, of its event."""
    for name in LABELS:
        if row[name] != "all":
            failures = failures.filter(pl.col(name) == row[name])
    for name, value in further.items():
        failures = failures.filter(pl.col(name) == value)
    event = row.get("event", "any")
    if event == "any":
        return failures
    if event == "water":
        return failures.filter("water_related")
    return failures.filter(pl.col("cause_class") == event)


def up_to(failures: pl.DataFrame, row: dict) -> int:
    """How many of them happened up to the row's months in service."""
    return failures.filter(pl.col("age_days") <= row["months"] * MONTH_DAYS).height


CASES: dict[str, tuple[tuple[str, ...], Callable[[pl.DataFrame, dict], int]]] = {
    "regions": (("region",), lambda f, row: selected(f, row).height),
    "treatment_effect": (
        ("family",),
        lambda f, row: selected(f, row, treatment=row["state"]).height,
    ),
    "cohorts": (("region",), lambda f, row: up_to(selected(f, row, entry=row["cohort"]), row)),
    "cohort_ratios": ((), lambda f, row: selected(f, row, entry=row["cohort"]).height),
    "warnings": ((), lambda f, row: selected(f, row, month=f"{row['month']:%Y-%m}").height),
    "survival": (("family",), lambda f, row: up_to(first_ones(f, row), row)),
}


def first_ones(failures: pl.DataFrame, row: dict) -> pl.DataFrame:
    """First failures of the row's kind, by the marks."""
    mark = {"any": "first_any", "water": "first_water"}.get(row["event"], "first_of_class")
    return selected(failures, row).filter(mark)


def with_entry(context: FieldContext) -> pl.DataFrame:
    """The failures behind the figures, with the quarter of each unit's clock start."""
    quarters = context.units.select(
        "serial",
        entry=pl.format(
            "{}-Q{}", pl.col("watched_from").dt.year(), pl.col("watched_from").dt.quarter()
        ),
    )
    return field_failures(context).drop("entry").join(quarters, on="serial", how="left")


@pytest.mark.parametrize("name", CASES)
def test_a_row_counts_the_failures_that_its_words_select(context: FieldContext, name: str) -> None:
    """Every row of the figure: as many failures as the selection behind it lists."""
    dims, count = CASES[name]
    failures = with_entry(context)
    rows = figure(context, name, dims).to_dicts()
    if name == "cohort_ratios":
        rows = [row for row in rows if row["cohort"] != "unknown"]
    if name in ("survival", "cohorts"):
        rows = [row for row in rows if row["months"] in (0, 3, 11, 12, 25, 36)]
    wrong = [row for row in rows if row["failures"] != count(failures, row)]
    assert wrong == []
    assert rows or name == "cohort_ratios"
