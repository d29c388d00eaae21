"""The register follows a publication by what it made known, worked out once."""

from __future__ import annotations

import contextlib
import datetime as dt
import shutil

import pytest

from pipelines.events import open_desk
from pipelines.events.event import Event
from pipelines.events.letters import read_register, read_texts
from pipelines.steps import letter_register
from pipelines.store.database import read_frame
from pipelines.store.reading import open_store
from pipelines.workspace.layout import Workspace


@pytest.fixture
def behind(workspace):
    """A published workspace whose desk has seen nothing of it, as where a run was killed there."""
    shutil.rmtree(workspace / "desk")
    return Workspace.open(workspace)


def after_bringing_up(workspace):
    """The register and its texts, by entry, and what the store's tables say of both."""
    letter_register.bring_up(workspace)
    desk = open_desk(workspace)
    with contextlib.closing(desk), desk.reading() as connection:
        register = read_register(desk, connection)
        texts = read_texts(connection, register, [*register.rows])
    with open_store(workspace) as con:
        letters, made = read_frame(con, "letters"), read_frame(con, "letter_texts")
    assert letters.height > 10
    assert made.height > 10
    return register.frame, texts, letters.sort("entry"), made


def test_what_was_published_is_not_worked_out_again(behind, monkeypatch):
    """Nobody was in between: the register is the table, with the texts that were made for it."""
    monkeypatch.setattr(letter_register, "standing_of", None)
    register, texts, letters, made = after_bringing_up(behind)
    assert register.equals(letters.select(register.columns))
    assert texts == {row.pop("entry"): row for row in made.to_dicts()}


def test_what_people_did_meanwhile_is_looked_at(behind, monkeypatch):
    """An event since the run read them has all worked out anew, which here comes to the same."""
    looked = []
    real = letter_register.standing_of
    monkeypatch.setattr(
        letter_register, "standing_of", lambda *args: looked.append(1) or real(*args)
    )
    desk = open_desk(behind)
    with contextlib.closing(desk), desk.writing() as connection:
        about = ("command", "W01", None, {"text": "seen"})
        note = Event("note", dt.date(2025, 12, 31), "clerk", *about)
        desk.append(connection, note)
    register, texts, letters, made = after_bringing_up(behind)
    assert looked == [1]
    told = [name for name in register.columns if name != "made_at"]
    assert register.select(told).equals(letters.select(told))
    assert texts == {row.pop("entry"): row for row in made.to_dicts()}
