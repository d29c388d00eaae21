"""Tables for the terminal fit it, one line a row."""

from __future__ import annotations

import polars as pl
import pytest

from pipelines.cli.console.tables import table_lines, width

TABLE = pl.DataFrame(
    {
        "region": ["US-AZ", "US-WA"],
        "season": ["winter", "summer"],
        "failures": [1234, 2],
        "unit_years": [1234.5, 0.61234],
        "rate_per_100": [None, 326.6],
        "low": [0.0, 1e-05],
        "high": [4567.0, 12.345],
        "remark": ["a\nb", "c"],
    }
)


def test_every_row_is_a_line_and_numbers_have_three_digits():
    """Counts whole, estimates to three digits, a dash for what is not known, no line breaks."""
    lines = table_lines(TABLE, 100)
    assert len(lines) == 3
    assert lines[1].split() == ["US-AZ", "winter", "1,234", "1,230", "–", "0", "4,570", "a", "b"]
    assert lines[2].split() == ["US-WA", "summer", "2", "0.612", "327", "1e-05", "12.3", "c"]
    assert lines[0].index("failures") + 8 == lines[1].index("1,234") + 5


@pytest.mark.parametrize("within", [20, 30, 40, 50, 60, 70])
def test_what_does_not_fit_is_left_out_and_named(within: int):
    """Other columns first, then limits, then counts; what tells rows apart stays."""
    lines = table_lines(TABLE, within)
    assert max(map(len, lines)) <= within
    assert lines[0].startswith("region")
    assert lines[-1].startswith("Not shown: ")
    assert "remark" not in lines[0]
    if "low" in lines[0].split():
        assert "failures" in lines[0]


@pytest.mark.parametrize("within", [4, 10, 20])
def test_failures_that_are_the_estimate_go_once(within: int):
    """A forecast's failures are no count but what it is about; no width stops at that."""
    table = pl.DataFrame({"month": ["2026-01"], "failures": [39.7], "cost": [812.0]})
    lines = table_lines(table, within)
    assert max(map(len, lines)) <= within
    assert lines[0].startswith("month"[:3])


def test_a_ratio_stays_before_units_and_what_is_expected():
    """What the figure is about and its failures are the last numbers to go."""
    table = pl.DataFrame(
        {"cause": ["BOARD"], "failures": [37], "units": [33], "expected": [8.5], "ratio": [10.8],
         "low": [6.4], "high": [18.3]}
    )  # fmt: skip
    heads = {within: table_lines(table, within)[0].split() for within in (60, 32, 24, 16)}
    assert heads[60] == table.columns
    assert heads[32] == ["cause", "failures", "units", "ratio"]
    assert heads[24] == ["cause", "failures", "ratio"]
    assert heads[16] == ["cause", "failures"]


def test_how_many_are_at_risk_is_a_count_and_stays_before_limits():
    """Marks go first, then the upper limit, then the lower one."""
    table = pl.DataFrame(
        {"event": ["water"], "months": [12], "at_risk": [140], "failures": [31],
         "survival": [0.812], "low": [0.75], "high": [0.861], "shown": [True]}
    )  # fmt: skip
    known = ["event", "months", "at_risk", "failures", "survival"]
    assert table_lines(table, 62)[0].split() == [*known, "low", "high", "shown"]
    assert table_lines(table, 55)[0].split() == [*known, "low", "high"]
    assert table_lines(table, 48)[0].split() == [*known, "low"]
    assert table_lines(table, 42)[0].split() == known


def test_the_width_is_that_of_columns(monkeypatch: pytest.MonkeyPatch):
    """COLUMNS first, else the terminal's, else 80."""
    monkeypatch.setenv("COLUMNS", "²")
    assert width() > 0
    monkeypatch.setenv("COLUMNS", "57")
    assert width() == 57
    monkeypatch.delenv("COLUMNS")
    assert width() > 0


def test_what_is_rounded_up_to_a_thousand_is_written_out():
    """No exponent where a number reaches the next digit."""
    table = pl.DataFrame({"a": [999.9, -999.96, 999.4, 1234567.0, 0.05]})
    words = [line.strip() for line in table_lines(table, 80)[1:]]
    assert words == ["1,000", "-1,000", "999", "1,230,000", "0.05"]


def test_every_column_that_is_left_out_is_named():
    """Where one line has no room for all names, further ones go on; none is cut."""
    names = [f"a_rather_long_name_{place}" for place in range(12)]
    table = pl.DataFrame({"family": ["Beck"]} | {name: [1.5] for name in names})
    lines = table_lines(table, 60)
    assert max(map(len, lines)) <= 60
    rest = [line for line in lines if line.startswith("Not shown: ")]
    left_out = [name for name in names if name not in lines[0].split()]
    assert len(rest) > 1
    told = [name for line in rest for name in line[len("Not shown: ") : -1].split(", ")]
    assert told == left_out
