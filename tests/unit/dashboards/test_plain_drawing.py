"""Where the dots, limits and curves of a plain drawing stand: worked out by hand from the rows.

The axis of dots is 410 wide and begins at 200, a line is 16 high; that of curves is 440 by 220 and
begins at 40, 10.
"""

from __future__ import annotations

import datetime as dt
import re

import polars as pl
import pytest

from dashboards.plain_drawing import drawing

TEXT = re.compile(r'<text x="([^"]*)" y="([^"]*)"[^>]*>([^<]*)</text>')
LIMITS = re.compile(r'<line x1="([^"]*)" x2="([^"]*)" y1="([^"]*)" y2="[^"]*" stroke="#667"/>')
DOT = re.compile(r'<circle cx="([^"]*)" cy="([^"]*)"')
POINTS = re.compile(r'<(polygon|polyline) points="([^"]*)"')
HEIGHT = re.compile(r'viewBox="0 0 620 (\d+)"')


def rates(**more: list) -> pl.DataFrame:
    """Two rates; 41 at most, so that 10 of the axis are one failure per 100 unit-years."""
    return pl.DataFrame(
        {"family": ["Beck", "Skerry"], "rate_per_100": [10.0, 20.0], "low": [5.0, 15.0],
         "high": [15.0, 41.0], **more}
    )  # fmt: skip


def texts(table: pl.DataFrame, most: int = 9) -> list[str]:
    """The words of a drawing, without those of the axis."""
    return [text for _, _, text in TEXT.findall(drawing(table, most))][: min(table.height, most)]


def test_dots_stand_at_their_rates_line_by_line() -> None:
    """From 0 to the largest limit: 5, 10, 15 and 15, 20, 41 stand at 200 + 10 times each."""
    told = drawing(rates(), 9)
    assert LIMITS.findall(told) == [("250.0", "350.0", "14"), ("350.0", "610.0", "30")]
    assert DOT.findall(told) == [("300.0", "14"), ("400.0", "30")]
    assert HEIGHT.findall(told) == ["66"]
    assert TEXT.findall(told) == [
        ("192.0", "17", "Beck"),
        ("192.0", "33", "Skerry"),
        ("200.0", "60", "0"),
        ("610.0", "60", "41.0 failures per 100 unit-years"),
    ]


def test_ratios_stand_on_a_log_scale_with_a_line_at_one() -> None:
    """From 1 / 1.1 to 4 x 1.1: 2 stands halfway, since 2.2 squared is 4.84; 0 at the left end."""
    table = pl.DataFrame({"lot": ["L"], "ratio": [2.0], "low": [0.0], "high": [4.0]})
    told = drawing(table, 9)
    assert DOT.findall(told) == [("405.0", "14")]
    assert LIMITS.findall(told) == [("200.0", "585.2", "14")]
    assert '<line x1="224.8" x2="224.8" y1="4" y2="30" stroke="#333"' in told
    assert ("224.8", "44", "1") in TEXT.findall(told)
    assert [text for *_, text in TEXT.findall(told)][-2:] == ["0.909", "4.40 ratio (log scale)"]


def test_only_the_first_rows_are_drawn_and_no_thin_or_unknown_ones() -> None:
    """What has no limits, or is thin, has no dot."""
    assert texts(rates(), most=1) == ["Beck"]
    assert texts(rates(thin=[True, False]))[:1] == ["Skerry"]
    assert len(DOT.findall(drawing(rates(thin=[True, False]), 9))) == 1
    assert len(DOT.findall(drawing(rates().with_columns(low=pl.Series([None, 1.0])), 9))) == 1
    assert drawing(rates(thin=[True, True]), 9) == ""
    assert drawing(rates().drop("low"), 9) == ""


@pytest.mark.parametrize(
    ("more", "names"),
    [
        ({}, ["Beck", "Skerry"]),
        ({"region": ["US-OR", "US-OR"]}, ["Beck", "Skerry"]),
        ({"region": ["US-OR", "US-ME"]}, ["Beck, US-OR", "Skerry, US-ME"]),
        ({"note": ["a", "b"], "by": ["x", "y"], "families": ["p", "q"]}, ["Beck", "Skerry"]),
        (
            {"day": [dt.date(2025, 1, 1), dt.date(2025, 2, 1)]},
            ["Beck, 2025-01-01", "Skerry, 2025-02-01"],
        ),
        ({"day": [dt.date(2025, 1, 1)] * 2}, ["Beck", "Skerry"]),
        ({"family": ["B" * 34, "S" * 35]}, ["B" * 34, "S" * 33 + "…"]),
        ({"family": ["Beck", "Beck"]}, ["all", "all"]),
    ],
)
def test_a_row_is_named_by_what_tells_it_apart(more: dict, names: list[str]) -> None:
    """Words and days that are the same in all rows are left out, and long ones are cut."""
    assert texts(rates(**more)) == names


def test_a_single_row_keeps_its_words() -> None:
    """There is no other to be told from."""
    assert texts(rates(region=["US-OR", "US-OR"]).head(1)) == ["Beck, US-OR"]


def test_rates_of_nothing_stand_on_an_axis_to_one() -> None:
    """There is a scale where all that is known is 0."""
    none = rates().with_columns(rate_per_100=0.0, low=0.0, high=0.0)
    told = drawing(none, 9)
    assert DOT.findall(told) == [("200.0", "14"), ("200.0", "30")]
    assert [text for *_, text in TEXT.findall(told)][-2:] == [
        "0",
        "1.00 failures per 100 unit-years",
    ]


def test_curves_go_from_month_to_month_within_their_bands() -> None:
    """Twelve months are 440 wide: 0, 6 and 12 stand at 40, 260 and 480; 1 is at 10, 0 at 230."""
    table = pl.DataFrame(
        {
            "family": ["Beck"] * 3 + ["Skerry"] * 3,
            "months": [12, 0, 6] * 2,
            "survival": [0.5, 1.0, 0.75, 0.75, 1.0, 1.0],
            "low": [0.25, 1.0, 0.5, 0.5, 1.0, 1.0],
            "high": [0.75, 1.0, 1.0, 1.0, 1.0, 1.0],
        }
    )
    told = drawing(table, 1)
    assert POINTS.findall(told) == [
        ("polygon", "40.0,10.0 260.0,10.0 480.0,65.0 480.0,175.0 260.0,120.0 40.0,10.0"),
        ("polyline", "40.0,10.0 260.0,65.0 480.0,120.0"),
        ("polygon", "40.0,10.0 260.0,10.0 480.0,10.0 480.0,120.0 260.0,10.0 40.0,10.0"),
        ("polyline", "40.0,10.0 260.0,10.0 480.0,65.0"),
    ]
    assert TEXT.findall(told) == [
        ("484.0", "123.0", "Beck"),
        ("484.0", "68.0", "Skerry"),
        ("40", "244", "0"),
        ("480", "244", "12 months in service"),
        ("36", "14", "1.0"),
        ("36", "230", "0"),
        ("44", "14", "share without a failure"),
    ]
    assert HEIGHT.findall(told) == ["250"]
    assert re.findall(r'stroke="(#\w+)" stroke-width="1.8" stroke-dasharray="([^"]*)"', told) == [
        ("#5968b5", ""),
        ("#8c2a0f", "6 3"),
    ]


def test_two_months_are_no_curve_and_a_seventh_curve_is_left_out() -> None:
    """Curves need three months; six of them can be told apart."""
    table = pl.DataFrame(
        {"family": [f"F{n}" for n in range(7) for _ in range(3)], "months": [0, 6, 12] * 7,
         "value": 1.0, "low": 0.5, "high": 1.5}
    )  # fmt: skip
    assert len(POINTS.findall(drawing(table, 9))) == 2 * 6
    assert POINTS.findall(drawing(table.filter(pl.col("months") < 12), 9)) == []
