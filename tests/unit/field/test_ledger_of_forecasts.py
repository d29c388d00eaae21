"""Ten forecasts and seven projections beside what came, scored by hand.

Source: worked by hand, no publication; an actual on a limit lies inside it.
"""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import polars as pl
import pytest

from pipelines.field import completion_record as completed
from pipelines.field import forecast_record as record
from pipelines.field.context import Grounds

LIMITS = ("low_80", "high_80", "low_95", "high_95")
# made on, basis, forecast, limits (80 % low and high, 95 % low and high), what came; and by hand
# the bias (forecast / actual - 1) and whether what came lay within 80 % and 95 %.
LEDGER = [
    ("2024-10-31", "installed", 40, (30, 50, 25, 56), 50, -0.2, True, True),
    ("2024-10-31", "all", 60, (48, 72, 40, 80), 48, 0.25, True, True),
    ("2025-01-31", "installed", 30, (20, 40, 15, 45), 45, -1 / 3, False, True),
    ("2025-01-31", "all", 45, (35, 55, 27, 63), 27, 2 / 3, False, True),
    ("2025-04-30", "installed", 20, (14, 26, 10, 30), 32, -0.375, False, False),
    ("2025-04-30", "all", 26, (18, 32, 14, 36), 13, 1.0, False, False),
    ("2025-07-31", "installed", 10, (5, 15, 3, 17), 10, 0.0, True, True),
    ("2025-07-31", "all", 12, (6, 18, 4, 20), 0, None, False, False),
    ("2025-10-31", "installed", 8, (4, 12, 2, 14), 4, 1.0, True, True),
    ("2025-10-31", "all", 10, (5, 15, 3, 17), 16, -0.375, False, True),
]
TODAY = dt.date(2026, 10, 31)
DAYS = sorted({dt.date.fromisoformat(row[0]) for row in LEDGER})
# Limits of every month: 80 % from 1 to 3, 95 % from 0 to 4.
MONTHS = {
    "installed": [0, 1, 1, 2, 3, 3, 4, 5, 6, 7, 8, 9],
    "all": [2, 4, 4, 0, 9, 9, 9, 9] + [3] * 4,
}
INSIDE = {"installed": (5, 7), "all": (5, 8)}
KEPT_FROM = dt.date(2025, 4, 30)


def of_day(day: dt.date) -> dict[str, pl.DataFrame]:
    """What was forecast on a day and what came, for the year and by month."""
    year = [
        {"as_of": day, "basis": basis, "failures": float(told), "actual": actual, "thin": False}
        | dict(zip(LIMITS, map(float, limits), strict=True))
        | {"note": "the last month ends early" if basis == "all" else None}
        for made, basis, told, limits, actual, *_ in LEDGER
        if made == day.isoformat()
    ]
    months = [
        {
            "basis": basis,
            "actual": one,
            "low_80": 1.0,
            "high_80": 3.0,
            "low_95": 0.0,
            "high_95": 4.0,
        }
        for basis, came in MONTHS.items()
        for one in came
    ]
    return {
        "year": pl.DataFrame(year, schema_overrides={"note": pl.String}),
        "months": pl.DataFrame(months),
    }


@pytest.fixture
def table(monkeypatch: pytest.MonkeyPatch) -> pl.DataFrame:
    """The record of the ledger; which rows had arrived is kept from the third day on."""
    monkeypatch.setattr(record, "days_made_on", lambda *_: [*DAYS, TODAY])
    monkeypatch.setattr(record, "forecasts", lambda _context, _dims, day: of_day(day))
    arrived = pl.DataFrame({"call": ["C1", "C2"], "arrived_on": [TODAY, KEPT_FROM]})
    context = SimpleNamespace(as_of=TODAY, grounds=Grounds(arrived_calls=arrived))
    return record.forecast_record(context)


def test_ten_forecasts_are_scored_as_by_hand(table: pl.DataFrame) -> None:
    """Bias and both limits of the year, row by row, and none for the day that has no year yet."""
    found = table.select(
        "as_of", "basis", "forecast", "actual", "bias", "year_inside_80", "year_inside_95"
    )
    by_hand = [
        (dt.date.fromisoformat(day), basis, float(told), actual, bias, in_80, in_95)
        for day, basis, told, _, actual, bias, in_80, in_95 in LEDGER
    ]
    rows = found.rows()
    assert len(rows) == 10
    for row, right in zip(rows, by_hand, strict=True):
        assert row[:4] + row[5:] == right[:4] + right[5:]
        assert row[4] is None if right[4] is None else row[4] == pytest.approx(right[4], abs=1e-12)
    assert [table[f"year_inside_{level}"].sum() for level in (80, 95)] == [4, 7]


def test_months_within_their_limits_are_counted_by_basis(table: pl.DataFrame) -> None:
    """Of each basis as many months as lie on or between its limits."""
    columns = ("months_inside_80", "months_inside_95")
    found = {(row["basis"], *(row[name] for name in columns)) for row in table.to_dicts()}
    assert found == {(basis, *counts) for basis, counts in INSIDE.items()}


def test_notes_say_what_stood_in_and_what_cannot_be_told(table: pl.DataFrame) -> None:
    """Days before rows were kept say so; a year without a failure has no bias; notes add up."""
    notes = {(row["as_of"], row["basis"]): row["note"] or "" for row in table.to_dicts()}
    stood_in = {key for key, note in notes.items() if "was not kept yet" in note}
    assert stood_in == {key for key in notes if key[0] < KEPT_FROM}
    assert {key for key, note in notes.items() if "nothing failed" in note} == {(DAYS[3], "all")}
    assert notes[DAYS[3], "all"].endswith("nothing failed; the last month ends early")
    assert notes[DAYS[3], "installed"] == ""


# cohort, months, projected: what was projected, its 80 and 95 % limits; now: what came (completed,
# else mean), units at risk, whether it is projected still, and whether it is shown.
PROJECTED = [
    ("2024-Q1", 24, 15.0, (12.0, 18.0, 9.0, 21.0)),
    ("2024-Q1", 30, 20.0, (16.0, 24.0, 12.0, 28.0)),
    ("2024-Q2", 24, 12.0, (9.0, 15.0, 7.0, 17.0)),
    ("2024-Q3", 18, 8.0, (6.0, 10.0, 4.0, 12.0)),
    ("2024-Q3", 24, 9.0, (6.0, 10.0, 4.0, 12.0)),
    ("2024-Q3", 30, 9.0, (6.0, 10.0, 4.0, 12.0)),
    ("2025-Q4", 12, 99.0, (0.0, 99.0, 0.0, 99.0)),  # its quarter was still open
]
CAME = [
    ("2024-Q1", 24, 12.0, 11.0, 40, False, True),  # on the lower limit of 80 %
    ("2024-Q1", 30, None, 12.0, 20, False, True),  # as many at risk as are needed; on that of 95 %
    ("2024-Q2", 24, 18.0, None, 30, False, True),  # outside both
    ("2024-Q3", 18, 8.0, None, 25, False, True),
    ("2024-Q3", 24, 50.0, None, 19, False, True),  # too few at risk
    ("2024-Q3", 30, 50.0, None, 25, True, True),  # not there yet
    ("2025-Q4", 12, 50.0, None, 25, False, True),
]


def test_seven_projections_are_scored_as_by_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    """Four have come: bias 55 / 50 - 1 = 0.1, two of four within 80 %, three within 95 %."""
    then = [
        {
            "event": "any", "cohort": cohort, "months": months, "projected": True, "failures": 0,
            "completed_per_100": told, "completed_low_80": limits[0],
            "completed_high_80": limits[1], "completed_low": limits[2], "completed_high": limits[3],
        }
        for cohort, months, told, limits in PROJECTED
    ]  # fmt: skip
    # What was reached already a year ago was no projection.
    then.append(then[0] | {"months": 6, "projected": False, "completed_per_100": 70.0})
    now = [
        {
            "event": "any", "cohort": cohort, "months": months, "completed_per_100": completed_,
            "mean_per_100": mean, "at_risk": at_risk, "projected": ahead, "shown": shown,
            "failures": place + 1,
        }
        for place, (cohort, months, completed_, mean, at_risk, ahead, shown) in enumerate(CAME)
    ]  # fmt: skip
    now.append(now[0] | {"months": 6, "completed_per_100": 5.0, "at_risk": 60})
    a_year_ago = SimpleNamespace()
    monkeypatch.setattr(completed, "fleet_on", lambda _context, _day: a_year_ago)
    tables = {True: pl.DataFrame(then), False: pl.DataFrame(now)}
    monkeypatch.setattr(completed, "cohorts", lambda context, _dims: tables[context is a_year_ago])
    context = SimpleNamespace(as_of=TODAY, once=lambda _key, make: make())
    table = completed.completion_record(context, ())
    row = table.filter(pl.col("event") == "any").to_dicts()[0]
    assert row["as_of"] == dt.date(2025, 10, 31)
    assert (row["cells"], row["bias"], row["inside_80"], row["inside_95"]) == (4, 0.1, 0.5, 0.75)
    assert row["thin"]  # at most four failures in a cell
    others = table.filter(pl.col("event") != "any")
    assert others["cells"].to_list() == [0] * others.height
    assert others.height > 0
    assert others["bias"].null_count() == others["note"].len() - others["note"].null_count()
