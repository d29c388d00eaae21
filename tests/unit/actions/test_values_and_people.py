"""What an action takes: cells and documents, people who may get a claim, moments of a letter."""

from __future__ import annotations

import datetime as dt
from contextlib import nullcontext
from decimal import Decimal
from importlib.util import find_spec, module_from_spec
from types import SimpleNamespace

import polars as pl
import pytest

from pipelines.actions import Refused, assign, listing, on_file
from pipelines.actions.claims import _need_assignee
from pipelines.actions.letters import entry_answer
from pipelines.actions.records import checked_cells, needed_documents
from pipelines.actions.users import acting_user, add_user, all_users, set_disabled
from pipelines.actions.values import (
    _OF_EXPORTS,
    amount,
    day,
    for_a_person,
    is_sound,
    moment,
    text,
)
from pipelines.letters.matters import SCHEMA
from pipelines.records.reasons import RULES
from tests.desks import caller, make_desk


@pytest.fixture
def desk(tmp_path):
    """A desk without a user."""
    desk = make_desk(tmp_path / "ws", "")
    yield desk
    desk.close()


@pytest.fixture
def peopled(desk, passwords_are_quick):
    """Three users, two of one name, and one who is disabled."""
    admin = caller(role="administrator")
    for user, name in (("ada", "Ada Marsh"), ("ben", "Ben Dale"), ("bd", "Ben Dale")):
        add_user(desk, desk.workspace, admin, user=user, name=name, role="clerk", password="x" * 20)
    add_user(desk, desk.workspace, admin, user="cy", name="Cy", role="clerk", password="x" * 20)
    set_disabled(desk, desk.workspace, admin, user="cy", disabled=True)
    assert len(all_users(desk)) == 4
    return desk


def test_passwords_are_hashed_as_the_rfc_asks():
    """argon2id with the second recommended option of RFC 9106, section 4: t=3, 4 lanes, 64 MiB."""
    spec = find_spec("pipelines.actions.passwords")
    assert spec is not None
    passwords = module_from_spec(spec)  # a copy of its own, whose hashes no other test makes cheap
    spec.loader.exec_module(passwords)
    kept = passwords.hashed("a password of mine")
    assert kept.startswith("$argon2id$v=19$m=65536,t=3,p=4$")


@pytest.mark.parametrize(
    ("who", "user"),
    [
        ("ada", "ada"), (" ada ", "ada"), ("ADA marsh", "ada"), ("bd", "bd"),
        ("Ben Dale", "is the name of several users"), ("cy", "is no user"), ("Cy", "is no user"),
        ("dan", "is no user"),
    ],
)  # fmt: skip
def test_a_person_is_named_by_sign_in_name_or_by_a_name_of_their_own(peopled, who, user):
    """A sign-in name goes before a name; who is disabled acts no more."""
    if user.startswith("is "):
        with pytest.raises(Refused, match=user) as told:
            acting_user(peopled, who)
        assert told.value.status == 403
    else:
        assert acting_user(peopled, who).user == user


def test_without_users_everybody_may_be_named(desk):
    """Nobody is looked up, and nobody is refused a claim."""
    assert acting_user(desk, "whoever") is None
    with desk.reading() as connection:
        assert _need_assignee(connection, "whoever") is None


@pytest.mark.parametrize(("to", "able"), [("ada", True), ("cy", False), ("dan", False)])
def test_a_claim_goes_to_a_user_who_is_not_disabled(peopled, to, able):
    """By the sign-in name."""
    with peopled.reading() as connection:
        if able:
            assert _need_assignee(connection, to) is None
        else:
            with pytest.raises(Refused, match=f'"{to}" is no user'):
                _need_assignee(connection, to)


def test_documents_that_are_named_must_be_at_the_desk(desk):
    """Nothing that is no text, and no digest of which nothing lies there."""
    assert needed_documents(desk, []) is None
    for wrong in ("0" * 64, "x", 7, None):
        with pytest.raises(Refused, match="which is not at the desk") as told:
            needed_documents(desk, [wrong])
        assert told.value.status == 422


def test_cells_are_trimmed_and_bounded():
    """Ten thousand signs are kept and one more is not; empty ones count only where they clear."""
    most = "x" * 10_000
    assert checked_cells("units", {"serial": f" {most} ", "model": " "}) == {"serial": most}
    cleared = checked_cells("units", {"serial": "U1", "model": ""}, may_empty=True)
    assert cleared == {"serial": "U1", "model": ""}
    for values, says in (
        ({"serial": most + "x"}, "holds what no cell can"),
        ({"serial": "a\0b"}, "holds what no cell can"),
        ({"serials": "U1"}, "is no column of units"),
        ({"serial": " "}, "are empty"),
    ):
        with pytest.raises(Refused, match=says):
            checked_cells("units", values)


@pytest.mark.parametrize(
    ("given", "sound"), [("a", True), ("Küche", True), ("a\0", False), ("a\ud800", False)]
)
def test_a_text_must_stand_in_every_database(given, sound):
    """Neither NUL nor half of a pair of surrogates."""
    assert is_sound(given) is sound
    if sound:
        assert text("note", f" {given} ", most=9) == given
    else:
        with pytest.raises(Refused, match="no text can hold"):
            text("note", given)


def test_a_text_has_one_sign_or_more_and_no_more_than_it_may():
    """The blanks around it count toward the most."""
    assert text("note", "abc", most=3) == "abc"
    for wrong, says in (
        ("abcd", "has 4 characters; at most 3"),
        (" ", "is empty"),
        (7, "is empty"),
    ):
        with pytest.raises(Refused, match=says):
            text("note", wrong, most=3)


@pytest.mark.parametrize(
    ("sending", "state", "told"),
    [
        (dt.datetime(2026, 3, 1), "to_send", True),
        (dt.datetime(2026, 3, 1), "overtaken", True),
        (dt.datetime(2026, 3, 1), "sent", False),
        (None, "to_send", False),
    ],
)
def test_a_mail_may_have_gone_out_while_its_letter_is_still_to_be_sent(sending, state, told):
    """Once its sending has begun and nobody knows how it ended."""
    row = dict.fromkeys(SCHEMA) | {"entry": 1, "state": state, "sending_at": sending}
    found = entry_answer(row)
    assert found["may_have_gone_out"] is told
    assert set(found) == {*SCHEMA, "may_have_gone_out"}
    assert found["state"] == state


def test_a_claim_assigned_to_nobody_known_is_refused(peopled, monkeypatch):
    """And nothing is recorded of it."""
    monkeypatch.setattr("pipelines.actions.claims.decision_on_file", lambda *_: {"claim": "C1"})
    with pytest.raises(Refused, match='"dan" is no user'):
        assign(peopled, peopled.workspace, caller(), claim="C1", to="dan", expected_version=0)


def test_corrections_are_listed_by_the_state_that_is_asked_for(monkeypatch):
    """All of them where none is, in the order in which they are told."""
    states = [SimpleNamespace(state=state) for state in ("stale", "in_force", "stale", "withdrawn")]
    monkeypatch.setattr(listing, "open_store", lambda _: nullcontext())
    monkeypatch.setattr(listing, "correction_states", lambda *_: states)
    monkeypatch.setattr(listing, "_as_json", lambda one: one.state)
    desk = SimpleNamespace(workspace=None, settings=SimpleNamespace(timezone="UTC"))
    told = {}
    for made in ([], ["one"]):
        monkeypatch.setattr(listing, "recorded_of", lambda _, m=made: SimpleNamespace(made=m))
        for state in (None, "stale", "confirmed"):
            told[len(made), state] = listing.corrections(desk, state=state)["corrections"]
    assert told[1, None] == ["stale", "in_force", "stale", "withdrawn"]
    assert (told[1, "stale"], told[1, "confirmed"]) == (["stale", "stale"], [])
    assert told[0, None] == told[0, "stale"] == []


@pytest.mark.parametrize(
    ("rule", "way_out"),
    [
        ("date", "is no date; write it as YYYY-MM-DD"),
        ("number", "is no number; write digits with `.` for fractions"),
        ("ambiguous_number", "write it without one"),
        ("yes_no", "is neither yes nor no; write yes or no"),
        ("word", "is no word of the list; use one of: {words}"),
    ],
)
def test_who_types_a_value_is_told_of_no_mapping(rule: str, way_out: str) -> None:
    """What a reason says to who maps exports is left out; what remains is the way out."""
    entry = RULES[rule]
    said = for_a_person(f"{entry.phrase}; {entry.remedy}")
    assert said.endswith(way_out)
    assert "mapping" not in said


def test_every_phrase_about_exports_is_still_said() -> None:
    """One that no reason has any more would be left out of nothing."""
    said = " ".join(f"{entry.phrase}; {entry.remedy}" for entry in RULES.values())
    assert _OF_EXPORTS
    assert [phrase for phrase, _ in _OF_EXPORTS if phrase not in said] == []


@pytest.mark.parametrize(
    "given", ["2026-W40-5", "20261002", "2026-10-2", "2026-10-32", "1899-12-31"]
)
def test_a_day_is_written_one_way(given):
    """As YYYY-MM-DD: neither by its week nor without its dashes, also before a time of day."""
    assert day("on", " 2026-10-02 ") == dt.date(2026, 10, 2)
    assert moment("ruled_at", "2026-10-02T09:05") == "2026-10-02T09:05:00"
    with pytest.raises(Refused, match="on is no date"):
        day("on", given)
    with pytest.raises(Refused, match="ruled_at is no date and time"):
        moment("ruled_at", f"{given}T09:05")


def test_a_text_is_as_long_as_it_was_typed():
    """A browser ends lines with two signs, which count as one; blanks around it count for
    nothing; one sign too many is refused."""
    assert text("text", " a\r\nb\n") == "a\nb"
    assert len(text("text", "x\r\n" * 4_999 + "xx\n")) == 10_000
    with pytest.raises(Refused, match="has 10,001 characters"):
        text("text", "x" * 10_001)


def test_an_amount_is_written_in_plain_figures():
    """Neither parted by a mark of any kind, nor in figures of another script, nor with a sign."""
    given = ("120.5", " 120.50 ", ".5", "3.", "0", "999999999999.99", None, "")
    read = ["120.5", "120.50", "0.5", "3", "0", "999999999999.99", None, None]
    amounts = [amount("parts_amount", one) for one in given]
    assert amounts == [None if one is None else Decimal(one) for one in read]
    for wrong in ("1_000", "1,50", "1 000", "1e2", "+5", "-1", "1.234", ".", "NaN", "٣", "１２"):
        with pytest.raises(Refused, match="parts_amount is no amount"):
            amount("parts_amount", wrong)


def test_a_claim_that_came_since_the_refresh_is_on_file_on_the_desks_own_day(monkeypatch):
    """Not on that of the clock, which a rehearsal may be far from."""
    asked = []
    nothing = pl.DataFrame({"claim": []})
    monkeypatch.setattr(on_file, "open_store", lambda _: nullcontext())
    monkeypatch.setattr(on_file, "decision_row", lambda *_: nothing)
    monkeypatch.setattr(on_file, "decision_rows", lambda *_: nothing)
    monkeypatch.setattr(on_file, "decisions_now", lambda *given: asked.append(given[2]) or {})
    with pytest.raises(Refused, match="no claim K1"):
        on_file.decision_on_file(SimpleNamespace(workspace=None), "K1", dt.date(2031, 5, 6))
    assert asked == [dt.date(2031, 5, 6)]
