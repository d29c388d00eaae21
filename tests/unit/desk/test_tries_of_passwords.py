"""How many passwords may be tried in how long, by name and by address, second by second."""

from __future__ import annotations

import datetime as dt

import pytest

from pipelines.desk import attempts
from pipelines.desk.attempts import MOST_OF_ADDRESS, MOST_OF_NAME, WINDOW, TooMany, Try
from tests.desks import make_desk

START = dt.datetime(2026, 3, 31, 12, tzinfo=dt.UTC)


@pytest.fixture
def trying(tmp_path, monkeypatch):
    """Tries some seconds after the start, by whom and from where."""
    desk = make_desk(tmp_path / "ws", "")

    def tried(seconds: float, user: str = "ada", address: str = "192.0.2.1") -> Try | TooMany:
        monkeypatch.setattr(attempts, "now", lambda: START + dt.timedelta(seconds=seconds))
        return attempts.begin_try(desk, user, address)

    tried.desk = desk
    yield tried
    desk.close()


def test_the_oldest_of_the_last_tries_frees_the_next(trying) -> None:
    """Ten seconds apart: the next may come once the first is as old as the window."""
    window = int(WINDOW.total_seconds())
    for place in range(MOST_OF_NAME):
        assert isinstance(trying(10 * place), Try)
    last = 10 * (MOST_OF_NAME - 1)
    assert trying(last) == TooMany(window - last)
    assert trying(window - 0.5) == TooMany(1)
    assert isinstance(trying(window), Try)  # the first is forgotten
    assert trying(window) == TooMany(10)  # the second is ten seconds younger


def test_another_name_is_free_until_its_address_is_not(trying) -> None:
    """Names count apart; whoever tries many from one address waits for that."""
    names = [f"user{place}" for place in range(MOST_OF_ADDRESS)]
    for place, name in enumerate(names):
        assert isinstance(trying(place, name), Try)
    assert MOST_OF_ADDRESS > MOST_OF_NAME
    refused = trying(MOST_OF_ADDRESS, "another")
    assert refused == TooMany(int(WINDOW.total_seconds()) - MOST_OF_ADDRESS)
    assert isinstance(trying(MOST_OF_ADDRESS, "another", "192.0.2.2"), Try)


def test_a_try_that_succeeds_is_taken_back(trying) -> None:
    """Signing in does not use up anybody's tries."""
    found: list[Try | TooMany] = []
    for place in range(3 * MOST_OF_NAME):
        found.append(trying(place))
        attempts.take_back(trying.desk, found[-1])
    assert {type(one) for one in found} == {Try}
