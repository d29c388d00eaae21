"""Ctrl-C and SIGTERM are heard wherever they come, and said to be what they are."""

from __future__ import annotations

import signal
from collections.abc import Iterator

import pytest

from pipelines.workspace.stopping import listen, stopped_by_hand, stops_as_such


@pytest.fixture(autouse=True)
def listening() -> Iterator[None]:
    """As a command begins; what was there before comes back."""
    before = signal.getsignal(signal.SIGINT)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    listen()
    yield
    listen()  # nothing is heard any more
    signal.signal(signal.SIGINT, before)


def test_a_request_to_end_the_process_is_as_by_hand() -> None:
    """SIGTERM is Ctrl-C within, and what it was before afterwards."""
    before = signal.getsignal(signal.SIGTERM)
    with pytest.raises(KeyboardInterrupt), stopped_by_hand():
        signal.raise_signal(signal.SIGTERM)
    assert signal.getsignal(signal.SIGTERM) == before


def rolls_back_badly() -> None:
    """As a library that is stopped, and fails at cleaning up."""
    try:
        signal.raise_signal(signal.SIGINT)
    except KeyboardInterrupt:
        raise RuntimeError("Query interrupted") from None


def test_an_error_that_comes_of_a_stop_is_a_stop() -> None:
    """DuckDB ends its queries so."""
    with pytest.raises(KeyboardInterrupt), stops_as_such():
        rolls_back_badly()


def test_an_error_of_another_cause_stays_what_it_is() -> None:
    """Also where an earlier command was stopped in this process."""
    with pytest.raises(RuntimeError):
        rolls_back_badly()
    listen()
    with pytest.raises(ValueError, match="of its own"), stops_as_such():
        raise ValueError("of its own")


def test_who_asked_not_to_hear_it_is_left_alone() -> None:
    """What a shell starts in the background does not hear Ctrl-C."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    listen()
    assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
