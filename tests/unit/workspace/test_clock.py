"""The present moment comes from the machine, or from the environment as it stands there."""

import datetime as dt

import pytest

from pipelines.errors import UsageError
from pipelines.workspace.clock import VARIABLE, clock, now, stamp


def test_without_the_variable_it_is_the_machines_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """The moment lies between two looks at the machine's own clock, and is aware."""
    monkeypatch.delenv(VARIABLE, raising=False)
    before = dt.datetime.now(dt.UTC)
    assert before <= now() <= dt.datetime.now(dt.UTC)
    assert now().utcoffset() == dt.timedelta(0)
    assert clock() == "system"


@pytest.mark.parametrize(
    ("given", "moment"),
    [
        ("2026-03-31T02:15:00+00:00", "2026-03-31T02:15:00+00:00"),
        ("2026-03-31T02:15Z", "2026-03-31T02:15:00+00:00"),
        ("2026-03-31 02:15:07.25-07:00", "2026-03-31T09:15:07+00:00"),
        ("2026-12-31T20:00-05:00", "2027-01-01T01:00:00+00:00"),
        ("20260331T021500+0530", "2026-03-30T20:45:00+00:00"),
        ("2026-W14-2T02:15:00+00", "2026-03-31T02:15:00+00:00"),
    ],
)
def test_the_variable_gives_the_moment(
    given: str, moment: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every form of ISO 8601 with an offset is read and told in UTC."""
    monkeypatch.setenv(VARIABLE, given)
    assert stamp() == moment
    assert now().utcoffset() == dt.timedelta(0)
    assert clock() == "given"


@pytest.mark.parametrize(
    "given",
    [
        "",
        "tomorrow",
        "2026-03-31",
        "2026-03-31T02:15:00",
        "2026-02-30T02:15:00Z",
        "2026-03-31T25:15:00Z",
        "2026-03-31T02:15:00 Europe/Madrid",
        "1774923300",
        "2026-03-31x02:15:00Z",
        "0001-01-01T00:00:00+14:00",
        "1899-12-31T23:59:59Z",
        "2200-01-01T00:00:00Z",
    ],
)
def test_what_is_no_moment_is_refused(given: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A moment without its offset, or none at all, ends with a sentence that says what to write."""
    monkeypatch.setenv(VARIABLE, given)
    with pytest.raises(UsageError) as told:
        now()
    assert f'LIMELEDGER_NOW is "{given}"' in str(told.value)
    assert "2026-03-31T02:15:00+00:00" in str(told.value)
    assert told.value.exit_code == 2
