"""A day is typed in one form alone, wherever it is typed."""

import datetime as dt

import pytest

from pipelines.errors import UsageError
from pipelines.field.conditions import read_conditions
from pipelines.workspace.typed_days import typed_day

OTHER_FORMS = ("20260331", "2026-W14-2", "2026-090", "2026W142", "2026-3-31", " 2026-03-31", "")


@pytest.mark.parametrize("given", [*OTHER_FORMS, "2026-02-30", "1899-12-31", "2200-01-01"])
def test_what_is_no_day_of_the_one_form_is_told(given: str) -> None:
    """Neither ISO 8601's other forms, nor a day that no calendar or no export has."""
    with pytest.raises(UsageError, match=f'^--as-of "{given}" is no date .* YYYY-MM-DD'):
        typed_day("--as-of", given)


@pytest.mark.parametrize("given", ["1900-01-01", "2024-02-29", "2199-12-31"])
def test_the_first_and_the_last_day_are_days(given: str) -> None:
    """From 1900 to 2199, both of them whole."""
    assert typed_day("--as-of", given) == dt.date(*map(int, given.split("-")))


@pytest.mark.parametrize("given", OTHER_FORMS[:4])
def test_a_condition_takes_no_other_form(given: str) -> None:
    """As everywhere: what is no day is told, and not read as another."""
    with pytest.raises(UsageError, match=f'"{given}" is no day; write it as 2026-05-31'):
        read_conditions([f"failed_on={given}"])
