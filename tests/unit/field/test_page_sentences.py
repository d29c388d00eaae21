"""Sentences that compare no groups: totals, shares by an age, where a limit stands, cost."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import polars as pl
import pytest

from pipelines.field.agency_words import sentences
from pipelines.field.page_sentences import page_sentences
from pipelines.field.sentences import _noun, _screened
from pipelines.field.sentences_of_alarms import alarmed, watched
from pipelines.field.sentences_to_come import _completed, _record, _year
from schemas.columns import polars_schema
from schemas.field import FIELD_TABLES

BLANK = dict.fromkeys(("family", "region", "profile", "cause_class", "startup", "treatment"), "all")


def rows(table: str, *given: dict) -> pl.DataFrame:
    """A figure's rows, `all` where it is not sliced and null where nothing is given."""
    schema = polars_schema(FIELD_TABLES[table])
    blank = {"by": "all", "thin": False, **BLANK}
    return pl.DataFrame(
        [{name: (blank | row).get(name) for name in schema.names()} for row in given],
        schema=schema,
    )


def told(**tables: pl.DataFrame) -> dict[tuple[str, str, str], str]:
    """What is said where only these figures have rows."""
    sentences = page_sentences(lambda name: tables.get(name, rows(name)))
    return {key: sentence for *key_, sentence in sentences for key in [tuple(key_)]}


def test_the_whole_is_told_with_time_and_robust_limits() -> None:
    """Units, unit-years, failures, rate, and the limits that allow for units that fail again."""
    table = rows(
        "rates",
        {"units": 1, "unit_years": 2.5, "failures": 3, "rate_per_100": 120.0, "low": 24.7,
         "high": 350.0, "robust_low": 40.0, "robust_high": 360.0},
        {"by": "family", "family": "Linn", "units": 9, "unit_years": 9.0, "failures": 9,
         "rate_per_100": 100.0},
    )  # fmt: skip
    assert told(rates=table) == {
        ("rates", "all", "any"): "1 unit watched for 2.500 unit-years had 3 failures: 120 per 100 "
        "unit-years (40.0 to 360)."
    }


def test_curves_are_told_at_the_last_half_year() -> None:
    """At 24 of 27 months; survival as a share, counts and cost as means; families named."""

    def curve(kind: str, event: str, months: int, value: float) -> dict:
        return {"kind": kind, "event": event, "months": months, "value": value,
                "low": value / 2, "high": value * 1.2, "at_risk": 30, "families": "Beck; Linn",
                "ends_at": 27}  # fmt: skip

    said = told(
        standard_curves=rows(
            "standard_curves",
            curve("survival", "water", 18, 0.9),
            curve("survival", "water", 24, 0.6),
            curve("survival", "water", 27, 0.5),
            curve("mean_count", "any", 24, 1.5),
            curve("mean_cost", "any", 24, 80.0),
        )
    )
    tail = "; standardized over 2 families (Beck, Linn), up to 27 months."
    assert said == {
        ("standard_curves", "survival", "water"): "By 24 months 60% (30% to 72%) of units have "
        f"had no water-caused failure{tail}",
        ("standard_curves", "mean_count", "any"): "By 24 months a unit has had 1.50 (0.750 to "
        f"1.80) failures{tail}",
        ("standard_curves", "mean_cost", "any"): "By 24 months failures of a unit have cost 80.0 "
        f"(40.0 to 96.0){tail}",
    }


def test_first_causes_are_told_largest_first_and_only_where_shown() -> None:
    """The whole share, then three classes by their share; months that are not shown say nothing."""
    shares = {"scale": 0.10, "gas": 0.2, "wear": 0.05, "misuse": 0.01}
    given = [
        {"by": "cause_class", "cause_class": name, "months": months, "at_risk": 40,
         "incidence": share, "low": share / 2, "high": share * 2, "shown": months < 18}
        for name, share in shares.items()
        for months in (12, 18)
    ]  # fmt: skip
    whole = {"months": 12, "at_risk": 40, "incidence": 0.36, "low": 0.3, "high": 0.4,
             "shown": True}  # fmt: skip
    assert told(first_causes=rows("first_causes", whole, *given)) == {
        ("first_causes", "all", "all"): "By 12 months 36.0% of units have had a first failure, "
        "among them 20.0% (10.0% to 40.0%) gas, 10.0% (5.0% to 20.0%) scale and 5.0% (2.5% to "
        "10.0%) wear."
    }


STEP = {
    "analyte": "hardness_mg_l_caco3", "event": "scale", "limit": 60.0, "step_at": 56.49,
    "step_low": 51.4, "step_high": 61.6, "ratio": 20.7, "low": 9.72, "high": 44.0,
    "failures": 196,
}  # fmt: skip


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (
            {"verdict": "limit_at_step"},
            "Hardness: above 56.49 mg/L CaCO₃ (95 %: 51.4 to 61.6) scale failures are 20.7 times "
            "as frequent (9.72 to 44.0) on unprotected days; the limit of 60 lies in that range: "
            "it stands where the harm begins.",
        ),
        (
            {"verdict": "limit_below_step", "ratio": 4e8},
            "Hardness: above 56.49 mg/L CaCO₃ (95 %: 51.4 to 61.6) scale failures come almost "
            "alone on unprotected days; the limit of 60 lies below it: it is stricter than the "
            "harm.",
        ),
        (
            {"verdict": "limit_above_step", "event": "water", "analyte": "ph", "limit": 9.0},
            "pH: above 56.49 (95 %: 51.4 to 61.6) water-caused failures are 20.7 times as "
            "frequent (9.72 to 44.0) on unprotected days; the limit of 9 lies above it: the harm "
            "begins before the limit.",
        ),
        (
            {"verdict": "no_step"},
            "Hardness: no step in scale failures is seen on unprotected days, at the limit of 60 "
            "or elsewhere.",
        ),
        (
            {"verdict": None, "note": "cannot be estimated, because all waters are alike"},
            "Hardness: whether scale failures begin at the limit of 60 cannot be told: it cannot "
            "be estimated, because all waters are alike.",
        ),
    ],
)  # fmt: skip
def test_a_limit_is_told_beside_the_step(change: dict, says: str) -> None:
    """In the step's set, below it, above it, no step, or why it cannot be told."""
    row = STEP | change
    key = ("dose_step", row["analyte"], row["event"])
    assert told(dose_step=rows("dose_step", row)) == {key: says}
    of_family = rows("dose_step", row | {"by": "family", "family": "Linn"})
    assert set(told(dose_step=of_family)) == {(key[0], f"Linn,{key[1]}", key[2])}


def test_costs_are_told_with_their_shares_of_the_sum() -> None:
    """The three largest, each with its share of what all of them come to."""
    given = [
        {"by": "cause_class", "cause_class": name, "parts": Decimal(0), "labor": Decimal(0),
         "travel": Decimal(0), "total": Decimal(total), "unit_years": 10.0}
        for name, total in (("gas", 100), ("scale", 250), ("wear", 50), ("misuse", 600))
    ]  # fmt: skip
    assert told(costs=rows("costs", *given)) == {
        ("costs", "cause_class", "all"): "Payable by cause: misuse 600.00 (60%), scale 250.00 "
        "(25%) and gas 100.00 (10%), of 1,000.00 in all."
    }


def test_agencies_that_are_flagged_follow_all_together() -> None:
    """The furthest first; thin ones are left out; where none is flagged, it says so."""
    schema = polars_schema(FIELD_TABLES["agency_figures"])

    def agency(name: str, measure: str, ratio: float | None, flagged: bool, thin: bool) -> dict:
        row = dict.fromkeys(schema.names())
        return row | {"agency": name, "measure": measure, "ratio": ratio, "flagged": flagged,
                      "thin": thin, "cases": 10, "sentence": f"{name} did {ratio}."}  # fmt: skip

    table = pl.DataFrame(
        [
            agency("all", "returns", None, False, False),
            agency("AAA", "returns", 2.0, True, False),
            agency("BBB", "returns", 3.0, True, False),
            agency("CCC", "returns", 9.0, True, True),
            agency("all", "travel", None, False, False),
            agency("AAA", "travel", 1.1, False, False),
        ],
        schema=schema,
    )
    assert told(agency_figures=table) == {
        ("agency_figures", "returns", "all"): "all did None. BBB: BBB did 3.0. AAA: AAA did 2.0.",
        ("agency_figures", "travel", "all"): "all did None. No agency stands out at a "
        "false-discovery rate of 10 %.",
    }


@pytest.mark.parametrize(
    ("biases", "begins"),
    [
        ([], "No forecast has a record yet: 24 months"),
        ([None], "No earlier forecast can be held against what came: nothing had failed by"),
        ([0.25], "The forecast made as of 2025-01 was off by +25 % over its year; "),
        (
            [0.25, -0.1],
            "Forecasts made as of 2025-01 to 2025-02 were off by +25 %, -10 % over their",
        ),
    ],
)
def test_the_record_tells_how_many_forecasts_it_is_of(biases: list, begins: str) -> None:
    """None made, none that can be held against what came, one, or several."""
    table = pl.DataFrame(
        {
            "basis": ["all"] * len(biases),
            "as_of": [dt.date(2025, 1 + place, 15) for place in range(len(biases))],
            "bias": biases,
            "year_inside_95": [True] * len(biases),
            "months_inside_95": [12] * len(biases),
        },
        schema={"basis": pl.String, "as_of": pl.Date, "bias": pl.Float64,
                "year_inside_95": pl.Boolean, "months_inside_95": pl.Int64},
    )  # fmt: skip
    assert _record(table).startswith(begins)


@pytest.mark.parametrize(
    ("failures", "says"), [(1.2, "1 failure is expected"), (1.6, "2 failures are expected")]
)
def test_a_year_of_one_failure_is_told_as_one(failures: float, says: str) -> None:
    """As the number is shown, whole."""
    row = {"basis": "all", "as_of": dt.date(2025, 1, 31), "month": dt.date(2025, 2, 1)}
    row |= {"failures": failures, "low_95": 0.0, "high_95": 4.0}
    parts = [row | {"basis": basis} for basis in ("installed", "sales")]
    assert says in _year(rows("forecast_year", row, *parts))


def test_one_cell_and_one_value_are_told_as_one() -> None:
    """What was projected in one cell; a screen of one value."""
    record = {"event": "any", "cells": 1, "bias": 0.1, "inside_80": 0.0, "inside_95": 1.0}
    assert "of 1 cell 100 % lay" in _completed(rows("completion_record", record), "any")
    assert _screened(rows("screen", {"flagged": False})).endswith("the 1 value that was looked at.")


@pytest.mark.parametrize(
    ("pairs", "begins"), [(1, "1 pair is watched; were it "), (2, "2 pairs are watched; were none")]
)
def test_pairs_are_counted(pairs: int, begins: str) -> None:
    """Those of the last month that is charted."""
    row = {"month": dt.date(2025, 1, 1), "false_alarms_a_year": 0.4}
    told = watched(rows("warnings", *[row | {"family": f"F{n}"} for n in range(pairs)]))
    assert told.startswith(begins)


@pytest.mark.parametrize(
    ("alarms", "ends"), [(3, ")."), (4, "); 1 more goes on."), (5, "); 2 more go on.")]
)
def test_alarms_that_are_not_named_are_counted(alarms: int, ends: str) -> None:
    """Three are named, the others counted."""
    row = {"cause_class": "scale", "first_month": dt.date(2025, 1, 1), "failures": 12}
    row |= {"ratio": 2.0, "low": 1.5, "high": 2.6, "standing": True}
    told = alarmed(rows("alarms", *[row | {"family": f"F{n}"} for n in range(alarms)]))
    assert told.endswith(ends)


@pytest.mark.parametrize(
    ("measure", "value", "cases", "says"),
    [
        ("returns", 1.0, 1, "1 of 1 repair that was followed to the end came back with the same"),
        ("returns", 0.5, 4, "2 of 4 repairs that were followed to the end came back with the same"),
        ("documents", 1.0, 1, "1 of 1 claim waits on documents"),
        ("documents", 0.25, 4, "1 of 4 claims waits on documents"),
        ("documents", 0.5, 4, "2 of 4 claims wait on documents"),
        ("labor_hours", 2.5, 1, "2.5 hours of labor were billed over 1 claim"),
        ("travel", 40.0, 2, "travel of 80 was billed over 2 claims"),
    ],
)
def test_cases_of_agencies_agree_with_their_count(measure, value, cases, says) -> None:
    """One repair was followed, two were."""
    row = {"agency": "all", "measure": measure, "value": value, "cases": cases}
    row |= {"compared": cases, "observed": 1.0, "expected": 1.0, "flagged": False, "thin": False}
    (said,) = sentences(pl.DataFrame([row]))["sentence"]
    assert said.startswith(f"All agencies together: {says}")


def test_a_quarter_is_called_one() -> None:
    """`By shipped` is no English."""
    assert [_noun(dim) for dim in ("shipped", "cold_supply")] == [
        "quarter of shipment",
        "cold supply",
    ]
