"""Marking a letter, and what becomes of its reminders."""

from __future__ import annotations

import pytest

from pipelines.actions import Refused
from pipelines.actions.letters import letters, mark
from pipelines.events import Event
from pipelines.events.letter_table import LETTER, differing_letters
from tests.desks import DAY, caller, make_desk
from tests.unit.events.test_letter_table import TEXT, entry

MADE = (
    entry(1, "sent", claim="K", kind="documents", **TEXT),
    entry(2, claim="K", kind="reminder", reminds=1, **TEXT),
    entry(3, "sent", claim="K", kind="reminder", reminds=1, **TEXT),
    entry(4, claim="L", kind="reminder", reminds=9, **TEXT),
    entry(5, claim="K", kind="reminder", reminds=1, sending_at="2026-03-30T01:00:00", **TEXT),
    entry(6, "sent", claim="K", kind="decision", **TEXT),
)


@pytest.fixture
def desk(tmp_path):
    """A request that was sent, with a reminder to send, one that went and one that may have."""
    desk = make_desk(tmp_path / "ws")
    with desk.writing() as connection:
        for one in MADE:
            desk.append(connection, Event(LETTER, DAY, "x", "refresh", payload={"entries": [one]}))
    yield desk
    desk.close()


@pytest.mark.parametrize(
    ("marked", "state", "second"),
    [
        (1, "answered", "overtaken"), (1, "to_send", "overtaken"), (6, "answered", "to_send"),
        (3, "answered", "to_send"), (4, "sent", "to_send"),
    ],
)  # fmt: skip
def test_a_request_takes_the_reminders_that_wait_with_it(desk, marked, state, second) -> None:
    """Those of this request alone, that nobody has begun to send; in one event, with the table."""
    mark(desk, desk.workspace, caller(), entry=marked, state=state, note="They rang.")
    states = {one["entry"]: one["state"] for one in letters(desk, desk.workspace)}
    wanted = {one["entry"]: one["state"] for one in MADE} | {2: second} | {marked: state}
    assert states == wanted
    with desk.reading() as connection:
        events = desk.events(connection)
        assert differing_letters(connection, events) == []
    assert len(events) == len(MADE) + 1
    with pytest.raises(Refused, match="can become"):
        mark(desk, desk.workspace, caller(), entry=marked, state=state, note="Again.")
