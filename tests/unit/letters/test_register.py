"""The register of letters: each thing that an agency has to be told, exactly once."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest

from pipelines.letters.matters import SCHEMA, STANDING
from pipelines.letters.register import due
from schemas.register import MAY_FOLLOW, STATES

DAY = dt.date(2026, 9, 1)
MADE = dt.datetime(2026, 9, 1, 3, 0)


def on(days: int) -> dt.date:
    return DAY + dt.timedelta(days=days)


def standing(*rows: dict) -> pl.DataFrame:
    base = {"claim": "K1", "kind": "decision", "basis": "a", "within_days": 30, "closes": False}
    return pl.DataFrame([base | row for row in rows], schema=STANDING)


def look(register: pl.DataFrame, now: pl.DataFrame, day: int, **more) -> pl.DataFrame:
    more = {"since": DAY} | more
    return due(register, now, on(day), MADE, **more).applied(register)


def marked(register: pl.DataFrame, entry: int, **values) -> pl.DataFrame:
    chosen = pl.col("entry") == entry
    return register.with_columns(
        pl.when(chosen).then(pl.lit(value, SCHEMA[name])).otherwise(name).alias(name)
        for name, value in values.items()
    )


NOTHING = SCHEMA.to_frame()


def told(register: pl.DataFrame) -> list[tuple]:
    return register.sort("entry").select("entry", "claim", "kind", "basis", "state").rows()


def test_what_stands_is_told_once_however_often_it_is_looked_at() -> None:
    """A second run on one day, and later ones, add nothing."""
    register = look(NOTHING, standing({}), 0)
    assert told(register) == [(1, "K1", "decision", "a", "to_send")]
    for day in (0, 0, 1, 40):
        register = look(register, standing({}), day)
    assert len(register) == 1
    assert register["as_of"].item() == DAY


def test_a_letter_that_was_not_sent_is_overtaken_by_what_stands_now() -> None:
    """It is never sent; the new one names it."""
    register = look(NOTHING, standing({}), 0)
    register = look(register, standing({"basis": "b"}), 1)
    assert told(register) == [
        (1, "K1", "decision", "a", "overtaken"),
        (2, "K1", "decision", "b", "to_send"),
    ]
    assert register["replaces"].to_list() == [None, 1]


def test_a_decision_that_went_and_came_back_unsent_gives_no_second_letter() -> None:
    """What the agency was told last is what stands: nothing has to be said."""
    register = marked(look(NOTHING, standing({}), 0), 1, state="sent")
    register = look(register, standing({"basis": "b"}), 1)
    register = look(register, standing({}), 2)
    assert told(register) == [
        (1, "K1", "decision", "a", "sent"),
        (2, "K1", "decision", "b", "overtaken"),
    ]
    # Were the second one sent, coming back is news again.
    register = marked(look(NOTHING, standing({}), 0), 1, state="sent")
    register = marked(look(register, standing({"basis": "b"}), 1), 2, state="sent")
    register = look(register, standing({}), 2)
    assert told(register)[2] == (3, "K1", "decision", "a", "to_send")


def test_where_nothing_has_to_be_told_a_letter_that_waits_is_overtaken() -> None:
    """A claim that comes to need review before its letter is sent."""
    register = look(NOTHING, standing({}), 0)
    register = look(register, standing({"kind": None, "basis": None}), 1)
    assert told(register) == [(1, "K1", "decision", "a", "overtaken")]


def test_looking_back_writes_to_nobody() -> None:
    """As of a day before the latest in the register nothing changes; on that day it does."""
    register = look(NOTHING, standing({}), 5)
    other = standing({"basis": "b"})
    assert look(register, other, 4).equals(register)
    assert look(register, other, 5).height == 2


@pytest.mark.parametrize(
    ("since", "first", "second"),
    [
        (None, "told_before", "to_send"),
        (on(0), "to_send", "to_send"),
        (on(1), "told_before", "to_send"),
        (on(2), "told_before", "told_before"),
    ],
)
def test_what_was_known_before_the_day_was_told_before(since, first, second) -> None:
    """By the setting, else whatever first fills the register; a later one is to be sent."""
    register = look(NOTHING, standing({}), 0, since=since)
    register = look(register, standing({}, {"claim": "K2"}), 1, since=since)
    assert register["state"].to_list() == [first, second]


def test_matters_that_are_not_on_file_stay_as_they_are() -> None:
    """Looking at some claims, as an action does, leaves the others alone."""
    register = look(NOTHING, standing({}, {"claim": "K2"}), 0)
    register = look(register, standing({"claim": "K2", "basis": "b"}), 1)
    assert [row[4] for row in told(register)] == ["to_send", "overtaken", "to_send"]


DOCUMENTS = {"kind": "documents", "basis": "d", "missing": "test; log"}


def test_a_request_has_a_day_and_is_answered_by_what_comes() -> None:
    """The day is counted from its as-of day; another list of missing documents answers it."""
    register = look(NOTHING, standing(DOCUMENTS), 0)
    assert register["due_on"].item() == on(30)
    assert look(register, standing(DOCUMENTS | {"missing": None, "basis": "c"}), 1)[
        "state"
    ].to_list() == ["overtaken", "to_send"]
    register = marked(register, 1, state="sent")
    same = look(register, standing(DOCUMENTS | {"basis": "other money"}), 1)
    assert same["state"].to_list() == ["sent", "to_send"]
    came = look(register, standing(DOCUMENTS | {"missing": "log", "basis": "e"}), 2)
    assert came["state"].to_list() == ["answered", "to_send"]
    assert came["answered_on"].to_list() == [on(2), None]
    assert came["missing"].to_list() == ["test; log", "log"]


def test_a_reminder_follows_the_day_after_the_last_one() -> None:
    """Not on the day itself; with a new day; and no more of them than the settings say."""
    register = marked(look(NOTHING, standing(DOCUMENTS), 0), 1, state="sent")
    assert look(register, standing(DOCUMENTS), 30).height == 1
    register = look(register, standing(DOCUMENTS), 31)
    assert told(register)[1] == (2, "K1", "reminder", "d", "to_send")
    assert register.select("reminds", "due_on", "replaces").row(1) == (1, on(61), None)
    # It waits for its own answer before another follows.
    assert look(register, standing(DOCUMENTS), 90, reminders=2).height == 2
    register = marked(register, 2, state="sent")
    assert look(register, standing(DOCUMENTS), 61, reminders=2).height == 2
    assert look(register, standing(DOCUMENTS), 62, reminders=1).height == 2
    assert look(register, standing(DOCUMENTS), 62, reminders=2).height == 3


@pytest.mark.parametrize("state", [s for s in STATES if s != "sent"])
def test_only_a_request_that_was_sent_and_not_answered_is_repeated(state) -> None:
    """Neither one that waits nor one that was answered, closed, overtaken or told before."""
    register = marked(look(NOTHING, standing(DOCUMENTS), 0), 1, state=state)
    kinds = look(register, standing(DOCUMENTS), 31)["kind"].to_list()
    assert "reminder" not in kinds


def test_no_reminder_where_the_claim_no_longer_asks_for_the_same() -> None:
    """A ruling or other documents make it pointless, also one that waits to be sent."""
    sent = marked(look(NOTHING, standing(DOCUMENTS), 0), 1, state="sent")
    ruled = standing(DOCUMENTS | {"kind": "ruling", "basis": "r"})
    assert look(sent, ruled, 31)["kind"].to_list() == ["documents", "ruling"]
    reminded = look(sent, standing(DOCUMENTS), 31)
    states = look(reminded, ruled, 32)["state"].to_list()
    assert states == ["sent", "overtaken", "to_send"]


def test_a_settled_matter_closes_what_went_out() -> None:
    """Of units: one that is still to be sent is overtaken, one that was sent is closed."""
    unit = {"claim": None, "serial": "U1", "kind": "decision"}
    over = standing(unit | {"basis": None, "closes": True})
    register = look(NOTHING, standing(unit), 0)
    assert look(register, over, 1)["state"].to_list() == ["overtaken"]
    assert look(marked(register, 1, state="sent"), over, 1)["state"].to_list() == ["closed"]
    # A claim of the same name as a serial is another matter.
    assert look(register, standing({"claim": "U1"}), 1).height == 2


def test_a_settled_matter_closes_all_that_went_out_in_one_look() -> None:
    """An earlier letter that was sent, behind one that was sent too, or that still waits."""
    unit = {"claim": None, "serial": "U1", "kind": "installation"}
    over = standing(unit | {"basis": None, "closes": True})
    register = marked(look(NOTHING, standing(unit), 0), 1, state="sent")
    register = look(register, standing(unit | {"basis": "b"}), 1)
    assert look(register, over, 2)["state"].to_list() == ["closed", "overtaken"]
    sent = marked(register, 2, state="sent")
    assert look(sent, over, 2)["state"].to_list() == ["closed", "closed"]
    # One that a person has closed stays so, and nothing is closed while something stands.
    assert look(sent, standing(unit | {"basis": "b"}), 2).equals(sent)


def test_entries_have_one_order_whatever_that_of_the_claims() -> None:
    """By claim, so that the same store gives the same numbers."""
    rows = [{"claim": f"K{n}"} for n in (3, 1, 2)]
    first = look(NOTHING, standing(*rows), 0)
    assert first.equals(look(NOTHING, standing(*reversed(rows)), 0))
    assert first["claim"].to_list() == ["K1", "K2", "K3"]


def test_the_states_that_may_follow_are_those_of_the_contract() -> None:
    """to_send → sent → answered → closed; nothing follows what is closed or overtaken."""
    assert set(MAY_FOLLOW) == {"to_send", "sent", "answered", "told_before"}
    assert set(MAY_FOLLOW["sent"]) == {"answered", "to_send"}
    assert {name for names in MAY_FOLLOW.values() for name in names} <= set(STATES)


def test_entries_of_a_day_are_numbered_by_claim_then_by_unit() -> None:
    """Claims in the order of their text, then what is told of units, by serial and kind."""
    register = look(
        NOTHING,
        standing(
            {"claim": None, "serial": "U2", "kind": "installation"},
            {"claim": "K2"},
            {"claim": None, "serial": "U1", "kind": "recommendation"},
            {"claim": "K10"},
            {"claim": None, "serial": "U1", "kind": "installation"},
        ),
        0,
    )
    assert register.sort("entry").select("entry", "claim", "serial", "kind").rows() == [
        (1, "K10", None, "decision"),
        (2, "K2", None, "decision"),
        (3, None, "U1", "installation"),
        (4, None, "U1", "recommendation"),
        (5, None, "U2", "installation"),
    ]


def test_an_entry_names_the_latest_one_that_it_stands_in_for() -> None:
    """The third takes the place of the second, whatever the first was."""
    register = NOTHING
    for day, basis in enumerate("abc"):
        register = look(register, standing({"basis": basis}), day)
        register = marked(register, day + 1, state="sent")
    assert register.sort("entry")["replaces"].to_list() == [None, 1, 2]


def test_a_reminder_that_was_dropped_does_not_count_as_one() -> None:
    """Where the claim asks for the same again, the agency is reminded after all, and once."""
    asks = standing({"kind": "documents", "missing": "test", "within_days": 5})
    register = marked(look(NOTHING, asks, 0), 1, state="sent")
    register = look(register, asks, 6)
    assert told(register)[1:] == [(2, "K1", "reminder", "a", "to_send")]
    register = look(marked(register, 2, state="overtaken"), asks, 7)
    assert told(register)[2:] == [(3, "K1", "reminder", "a", "to_send")]
    assert len(look(marked(register, 3, state="sent"), asks, 60)) == 3


def test_kinds_that_are_not_made_still_overtake_what_was_to_be_sent() -> None:
    """A request goes no more once the claim stands otherwise, though nobody is told how; a
    reminder is a kind as well."""
    documents = {"kind": "documents", "missing": "test", "basis": "d"}
    asked = look(NOTHING, standing(documents), 0, kinds=["documents"])
    assert told(asked) == [(1, "K1", "documents", "d", "to_send")]
    assert look(asked, standing({}), 1, kinds=["documents"])["state"].to_list() == ["overtaken"]
    sent = marked(asked, 1, state="sent")
    assert look(sent, standing({}), 1, kinds=["documents"])["state"].to_list() == ["answered"]
    late = standing(documents)
    assert look(sent, late, 31, kinds=["documents"]).height == 1
    both = look(sent, late, 31, kinds=["documents", "reminder"])
    assert both["kind"].to_list() == ["documents", "reminder"]
    assert look(NOTHING, late, 0, kinds=[]).is_empty()


def test_of_a_claim_that_is_on_file_no_more_nothing_is_sent() -> None:
    """What was not sent yet is overtaken, reminders too; what was sent stays, as do other claims;
    and where the claim comes back, it is told once."""
    asks = {"kind": "documents", "missing": "log"}
    register = look(NOTHING, standing({}, {"claim": "K2"}, {"claim": "K3", **asks}), 0)
    register = marked(register, 3, state="sent")
    register = look(register, standing({}, {"claim": "K2"}, {"claim": "K3", **asks}), 40)
    assert [row[2:] for row in told(register)[2:]] == [
        ("documents", "a", "sent"),
        ("reminder", "a", "to_send"),
    ]
    handed_over = marked(register, 1, sending_at=MADE)
    left = look(handed_over, standing({"claim": "K2"}), 41, gone={"K1"})
    assert left["state"][0] == "to_send"
    register = look(register, standing({"claim": "K2"}), 41, gone={"K1", "K3"})
    assert register["state"].to_list() == ["overtaken", "to_send", "sent", "overtaken"]
    register = look(register, standing({}, {"claim": "K2"}), 42)
    assert told(register)[4:] == [(5, "K1", "decision", "a", "to_send")]
