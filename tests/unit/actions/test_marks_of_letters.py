"""Marking a letter, and what becomes of its reminders."""

from __future__ import annotations

import datetime as dt

import pytest

from pipelines.actions import Refused
from pipelines.actions.letters import letters, mark
from pipelines.actions.sending import send_letters
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


def test_a_letter_is_marked_by_the_desks_day(desk) -> None:
    """Nothing was sent or answered on a day that has not come."""
    marked = {"entry": 1, "state": "answered"}
    with pytest.raises(Refused, match="after the desk's day") as refused:
        mark(desk, desk.workspace, caller(), **marked, on=str(DAY + dt.timedelta(1)))
    assert (refused.value.status, refused.value.errors[0][0]) == (422, "on")
    (one,) = mark(desk, desk.workspace, caller(), **marked, on=str(DAY))["letters"]
    assert (one["state"], one["answered_on"]) == ("answered", str(DAY))


def test_a_letter_that_is_named_twice_is_one_letter(tmp_path, monkeypatch) -> None:
    """It is sent once, and told once."""
    mailed: list = []
    monkeypatch.setattr("pipelines.actions.sending.send", lambda _, mail: mailed.append(mail))
    settings = '[letters]\nsender = "w@maker.example"\n[letters.mail]\nhost = "127.0.0.1"\n'
    desk = make_desk(tmp_path / "ws", settings)
    made = entry(1, claim="K", kind="decision", email="a@agency.example", **TEXT)
    with desk.writing() as connection:
        desk.append(connection, Event(LETTER, DAY, "x", "refresh", payload={"entries": [made]}))
    answer = send_letters(desk, desk.workspace, caller(), letters=[1, 1])
    desk.close()
    assert (answer["sent"], answer["refused"], len(answer["letters"])) == ([1], [], 1)
    assert len(mailed) == 1


@pytest.mark.parametrize("meanwhile", ["marked", "mailed"])
def test_a_letter_that_somebody_sent_meanwhile_is_not_sent_again(
    tmp_path, monkeypatch, meanwhile
) -> None:
    """Mails go one after the other; before each it is looked at what others did."""
    mailed: list[str] = []

    def hand_over(_, mail) -> None:
        mailed.append(mail["To"])
        if len(mailed) == 1 and meanwhile == "marked":
            mark(desk, desk.workspace, caller("bea"), entry=2, state="sent")
        elif len(mailed) == 1:
            send_letters(desk, desk.workspace, caller("bea"), letters=[2])

    monkeypatch.setattr("pipelines.actions.sending.send", hand_over)
    settings = '[letters]\nsender = "w@maker.example"\n[letters.mail]\nhost = "127.0.0.1"\n'
    desk = make_desk(tmp_path / "ws", settings)
    made = [entry(n, email=f"{n}@agency.example", **TEXT) for n in (1, 2, 3)]
    with desk.writing() as connection:
        desk.append(connection, Event(LETTER, DAY, "x", "refresh", payload={"entries": made}))
    answer = send_letters(desk, desk.workspace, caller(), letters=[1, 2, 3])
    rows = {one["entry"]: one for one in letters(desk, desk.workspace)}
    desk.close()
    to = [to.rpartition("<")[2].strip(">") for to in mailed]
    second = ["2@agency.example"] if meanwhile == "mailed" else []
    assert to == ["1@agency.example", *second, "3@agency.example"]
    assert (answer["sent"], answer["answers"]) == (
        [1, 2, 3], ["Nothing was sent, since letter 2 is sent."],
    )  # fmt: skip
    assert (rows[2]["state"], rows[2]["sent_by"]) == ("sent", "bea")
