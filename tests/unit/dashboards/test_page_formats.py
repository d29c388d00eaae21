"""Values as text, and names and JSON that are safe on a page."""

from __future__ import annotations

import datetime as dt
import json
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboards import formats


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (None, 3, "–"),
        (float("nan"), 3, "–"),
        (0.0, 3, "0"),
        (12.3456, 3, "12.3"),
        (0.012345, 3, "0.0123"),
        (4567.8, 3, "4,568"),
        (-1.5, 2, "-1.5"),
    ],
)
def test_numbers_keep_their_significant_digits(value, digits, text) -> None:
    """A number shows so many significant digits and never an exponent."""
    assert formats.number(value, digits) == text


def test_money_is_exact_to_the_cent() -> None:
    """Amounts beyond a float's digits keep every cent."""
    assert formats.money(Decimal("12345678901234.56"), "USD") == "12,345,678,901,234.56 USD"
    assert formats.money(None) == "–"


def test_dates_and_counts_read_naturally() -> None:
    """Dates, days and counts agree with their nouns."""
    assert formats.long_day(dt.date(2025, 3, 4)) == "4 March 2025"
    assert formats.days(1) == "1 day"
    assert formats.counted(2, "agency", "agencies") == "2 agencies"
    assert formats.listed(["a", "b", "c"]) == "a, b and c"


def test_chart_days_name_no_time_zone() -> None:
    """A day in a chart is local midnight: an ISO time without offset (ECMA-262, Date.parse)."""
    assert formats.chart_day(dt.date(2025, 3, 4)) == "2025-03-04T00:00:00"


@given(st.text(), st.text())
def test_file_names_are_safe_and_distinct(one: str, other: str) -> None:
    """Any claim number gives a plain file name, and two numbers never the same."""
    name = formats.file_name(one)
    assert name.endswith(".html")
    assert set(name) <= set("abcdefghijklmnopqrstuvwxyz0123456789-.")
    assert name.count(".") == 1
    assert (formats.file_name(other) == name) == (one == other)


@given(st.recursive(st.text() | st.none() | st.integers(), st.lists))
def test_script_json_cannot_end_its_element(value) -> None:
    """No data can close the script element, and it reads back unchanged."""
    text = formats.script_json(value)
    assert not set("<>&\u2028\u2029") & set(text)
    assert json.loads(text) == value


def test_packed_rows_hold_every_value() -> None:
    """Rows by column are the same rows, with null where a row lacks a column."""
    chart = {"rows": {"rows": [{"a": 1}, {"a": 2, "b": 3}]}, "lists": {"names": ["x"]}}
    packed = formats.packed(chart)
    assert packed["rows"]["rows"] == [["a", "b"], [1, None], [2, 3]]
    assert packed["lists"] == {"names": ["x"]}
