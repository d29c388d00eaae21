"""Months as people write them: the first and the last that are taken, and what is none."""

from __future__ import annotations

import pytest

from pipelines.months.calendar import Month


@pytest.mark.parametrize(
    ("text", "month"),
    [
        ("2026-01", Month(2026, 1)),
        ("2026-12", Month(2026, 12)),
        ("1900-01", Month(1900, 1)),
        ("2199-12", Month(2199, 12)),
    ],
)
def test_a_month_is_read(text: str, month: Month) -> None:
    """January and December, and both ends of the years."""
    assert Month.of(text) == month


@pytest.mark.parametrize("text", ["2026-00", "2026-13", "1899-12", "2200-01", "2026-1", "26-01"])
def test_what_is_no_month_is_refused(text: str) -> None:
    """The months just outside, and other spellings."""
    with pytest.raises(ValueError) as caught:
        Month.of(text)
    assert text in str(caught.value)


@pytest.mark.parametrize(
    ("month", "before"), [("2026-01", "2025-12"), ("2026-02", "2026-01"), ("2026-12", "2026-11")]
)
def test_months_follow_each_other(month, before) -> None:
    """The one before and back again."""
    assert str(Month.of(month).before) == before
    assert Month.of(month).before.after == Month.of(month)
