"""The table of letters holds what the events add up to, after any of them and made anew."""

from __future__ import annotations

import datetime as dt

import pytest
import sqlalchemy as sa

from pipelines.events import Event, open_desk
from pipelines.events.letter_table import FOLLOWED, LETTER, SENDING, differing_letters, fold
from pipelines.events.letters import publication_seen, read_register, read_texts
from pipelines.events.migrations import HEAD
from pipelines.events.tables import LETTERS
from pipelines.letters.matters import SCHEMA
from schemas.columns import column_names
from schemas.register import Letters
from tests.desks import DAY, make_desk

TEXT = {"subject": "s", "text": "t", "html": "<p>t</p>"}


def entry(number: int, state: str = "to_send", **more) -> dict:
    """An entry as its event holds it."""
    told = {"entry": number, "claim": f"K{number}", "kind": "decision", "basis": "b"}
    told |= {"as_of": "2026-03-30", "made_at": "2026-03-30T01:02:03.000004", "state": state}
    return told | {"agency": "A" if number % 2 else "B"} | more


@pytest.fixture
def desk(tmp_path):
    """A desk with letters told before, made by a refresh and an action, sent, refused, marked."""
    desk = make_desk(tmp_path / "ws")

    def add(kind, payload, via="refresh", at=None):
        with desk.writing() as connection:
            desk.append(connection, Event(kind, DAY, "ann", via, payload=payload, at=at))

    add(LETTER, {"entries": [entry(1, "told_before"), entry(2, "told_before", **TEXT)]})
    add(LETTER, {"entries": [entry(3, **TEXT)]})
    add(LETTER, {"publication": "1 x"})
    add(LETTER, {"entries": [entry(4, due_on="2026-04-20", **TEXT)]}, "command")
    add(LETTER, {"entries": [entry(5, reminds=4, **TEXT)]}, "api")
    at = dt.datetime(2026, 3, 31, 12, tzinfo=dt.UTC)
    stages = {"letters": [3, 4], "message_id": "<m>"}
    add(SENDING, stages | {"stage": "sending"}, "api", at)
    add(SENDING, stages | {"stage": "sent", "letters": [3]}, "api")
    add(SENDING, stages | {"stage": "refused", "letters": [4], "answer": "550 no"}, "api")
    sent = {"state": "sent", "sent_on": "2026-03-31", "sent_by": "ann", "sent_how": "by_hand"}
    add(LETTER, {"states": [{"entry": 5, **sent}]}, "web")
    add(LETTER, {"states": [{"entry": 3, "state": "answered", "answered_on": "2026-04-01"}]})
    yield desk
    desk.close()


def rows_of(desk) -> dict[int, dict]:
    """The table, and what the events add up to."""
    with desk.reading() as connection:
        table = connection.execute(sa.select(LETTERS).order_by(LETTERS.c.entry)).mappings()
        found = {row["entry"]: dict(row) for row in table}
        assert found == fold(desk.events(connection, kinds=FOLLOWED))
        assert differing_letters(connection, desk.events(connection)) == []
    return found


def test_a_table_that_was_touched_shows(desk):
    """A changed row and a missing one are told, without a table nothing is."""
    with desk.writing() as connection:
        connection.execute(sa.text("update letters set state = 'closed' where entry = 4"))
        connection.execute(sa.text("delete from letters where entry = 2"))
        assert differing_letters(connection, desk.events(connection)) == [2, 4]
        connection.execute(sa.text("drop table letters"))
        assert differing_letters(connection, desk.events(connection)) == []


def test_the_table_is_what_the_events_add_up_to(desk):
    """States, who sent what and how, and by which event a person last changed an entry."""
    rows = rows_of(desk)
    assert list(rows) == [1, 2, 3, 4, 5]
    shown = ("state", "sent_how", "sending_at", "message_id", "note", "text_event", "moved")
    assert [tuple(row[name] for name in shown) for row in rows.values()] == [
        ("told_before", None, None, None, None, None, None),
        ("told_before", None, None, None, None, 1, None),
        ("answered", "mail", None, "<m>", None, 2, 7),
        ("to_send", None, None, None, "550 no", 4, 8),
        ("sent", "by_hand", None, None, None, 5, 9),
    ]
    assert rows[3]["answered_on"] == dt.date(2026, 4, 1)
    assert rows[5]["made_at"] == dt.datetime(2026, 3, 30, 1, 2, 3, 4)


def test_a_part_of_it_knows_how_far_the_whole_goes(desk):
    """By claim, entry, state and agency; texts only where there are some."""
    with desk.reading() as connection:
        whole = read_register(desk, connection)
        assert whole.frame.schema == SCHEMA
        assert whole.frame["entry"].to_list() == [1, 2, 3, 4, 5]
        assert whole.claims_moved_after(7) == {"K4", "K5"}
        for asked, entries in (
            ({"claims": ["K4", "K9", "K2"]}, [2, 4]),
            ({"entries": [5, 1]}, [1, 5]),
            ({"state": "told_before"}, [1, 2]),
            ({"agency": "A", "state": "sent"}, [5]),
            ({"claims": []}, []),
        ):
            part = read_register(desk, connection, **asked)
            assert list(part.rows) == entries
            assert part.ends == whole.ends
        assert (whole.ends.last_entry, whole.ends.latest_as_of) == (5, dt.date(2026, 3, 30))
        assert read_texts(connection, whole, [1, 2, 5]) == {2: TEXT, 5: TEXT}
        assert publication_seen(connection) is None  # the last of a refresh has changed a state


def test_a_database_of_before_gets_the_table(desk):
    """The migration makes it from the events that are there."""
    before = rows_of(desk)
    with desk.writing() as connection:
        connection.execute(sa.text("drop table letters"))
        connection.execute(sa.text("update alembic_version set version_num = '0001'"))
    again = open_desk(desk.workspace)
    try:
        assert rows_of(again) == before
        with again.reading() as connection:
            assert connection.execute(sa.text("select version_num from alembic_version")).scalar()
            assert HEAD == "0002"
    finally:
        again.close()


def test_the_table_has_the_columns_of_the_register():
    """And two of its own."""
    assert [column.name for column in LETTERS.c] == [
        *column_names(Letters),
        "text_event",
        "moved",
    ]
