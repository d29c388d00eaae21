"""What should happen next with a claim: the steps that are open, as commands that run."""

from __future__ import annotations

import datetime as dt
import shlex

import pytest

from pipelines.actions.caller import _MAY, ROLES
from pipelines.worklist.next_steps import _WHO, next_steps

AS_OF = dt.date(2026, 3, 31)
ROW = {
    "claim": "CL/1 a'b",
    "open": True,
    "verdict": "needs_review",
    "ruling": None,
    "group": "person",
    "if_settled": "covered",
    "duplicate_of": None,
    "original": None,
    "documents": [],
    "overdue": False,
    "documents_due_on": None,
    "held": False,
    "hold_until": None,
    "waiting_event": None,
    "waiting_by": None,
    "lead_reason": None,
    "ruling_outdated": False,
    "appealed_on": None,
}
LETTER = {"entry": 5, "kind": "documents", "email": "a@fennel.example"}
LETTER |= {"due_on": None, "sending_at": None}


def steps(letters=(), **more):
    return next_steps(ROW | more, letters, AS_OF)


@pytest.mark.parametrize(
    ("more", "ruling"),
    [
        ({}, "covered"),
        ({"if_settled": "covered_in_part"}, "covered_in_part"),
        ({"group": "duplicates", "duplicate_of": "CL-0"}, "not_covered"),
        ({"group": "settled_either_way", "if_settled": "not_covered"}, "not_covered"),
        ({"verdict": "covered", "ruling": "not_covered", "if_settled": None}, "covered"),
        ({"group": "one_document", "overdue": True, "documents_due_on": AS_OF}, "not_covered"),
    ],
)
def test_a_person_rules(more, ruling) -> None:
    """The command names the claim as one word, whatever it holds, and the ruling that is near."""
    (step,) = steps(**more)
    words = shlex.split(step.command)
    assert words[:4] == ["limeledger", "rule", "CL/1 a'b", ruling]
    assert {"--by", "--reason"} < set(words)
    assert (step.action, step.path) == ("rule", "/api/v1/claims/CL%2F1%20a%27b/rulings")


@pytest.mark.parametrize(
    ("more", "said", "why"),
    [
        (
            {"ruling_outdated": True, "ruling": "covered", "verdict": "not_covered"},
            "Rule anew: since the ruling the records have come to say not covered.",
            "Looked at again.",
        ),
        (
            {"appealed_on": AS_OF, "verdict": "covered"},
            "Rule on the appeal of 2026-03-31: as before, or anew.",
            "Looked at.",
        ),
        (
            {"appealed_on": AS_OF, "if_settled": "not_covered"},
            "Rule: it is not covered whichever way the dispute is settled.",
            "Not covered whichever way the dispute is settled.",
        ),
        ({}, "Rule: a person decides what the records cannot.", "Looked at."),
    ],
)
def test_a_person_rules_for_the_reason_that_the_claim_is_open(more, said, why) -> None:
    """Also in the reason of the command, which nobody may copy into a false ruling."""
    (step,) = steps(**{"if_settled": None} | more)
    assert step.label.startswith(said)
    assert shlex.split(step.command)[-1] == why


def test_a_hold_may_be_ended_where_no_command_is_shown() -> None:
    """The desk has a form in its place."""
    (step,) = steps(group="documents", held=True, hold_until=AS_OF)
    assert step.label.startswith("Wait until 2026-03-31: the claim is on hold, which may be ended")


def test_each_step_says_who_can_do_it() -> None:
    """Beside what should happen; a contradiction may be a mistyped row."""
    rule, correct = steps(lead_reason="records_agree")
    assert rule.label.endswith("(A clerk or a lead, within their limit.)")
    assert (correct.action, correct.path) == ("correct", "/api/v1/corrections")
    assert correct.label.endswith("(A clerk or a lead.)")
    (approve,) = steps(waiting_event=17, waiting_by="R. Osei")
    assert approve.label.endswith("(A lead who did not make it.)")
    ruled = steps(lead_reason="records_agree", ruling="covered")
    assert [step.action for step in ruled] == ["rule"]


def test_a_waiting_ruling_is_approved_and_not_ruled_again() -> None:
    """The second person's step alone."""
    (step,) = steps(waiting_event=17, waiting_by="R. Osei")
    assert (step.action, step.path) == ("approve", "/api/v1/rulings/17/approval")
    assert step.command == 'limeledger approve 17 --by "$USER"'


def test_a_mail_that_may_have_gone_out_is_marked_and_not_sent_again() -> None:
    """To send it would be refused; what became of it is said instead."""
    handed_over = LETTER | {"state": "to_send", "sending_at": dt.datetime(2026, 3, 30, 9, 5)}
    (step,) = steps([handed_over], open=False)
    assert (step.action, step.path) == ("send", "/api/v1/letters/5/state")
    assert step.command == 'limeledger mark 5 sent --by "$USER"'
    assert "may have" in step.label


def test_a_letter_is_sent_by_mail_or_by_hand() -> None:
    """By mail where there is an address; else by hand, and then marked."""
    open_claim = {"group": "documents", "documents": ["test", "log"], "verdict": "needs_evidence"}
    first, second = steps([LETTER | {"state": "to_send"}], **open_claim)
    assert (first.action, first.command) == ("send", 'limeledger send 5 --by "$USER"')
    assert second.action == "enter"
    first, _ = steps([LETTER | {"state": "to_send", "email": None}], **open_claim)
    assert first.command == 'limeledger mark 5 sent --by "$USER"'
    assert first.path == "/api/v1/letters/5/state"


def test_an_answer_is_waited_for_until_its_day() -> None:
    """Up to the day; after it the claim is ruled on."""
    asked = {"group": "one_document", "documents": ["test"]}
    tomorrow = AS_OF + dt.timedelta(days=1)
    first, _ = steps([LETTER | {"state": "sent", "due_on": tomorrow}], **asked)
    assert first.action == "wait"
    assert f"--until {tomorrow}" in first.command
    late = asked | {"overdue": True, "documents_due_on": AS_OF - dt.timedelta(days=1)}
    first, _ = steps([LETTER | {"state": "sent", "due_on": late["documents_due_on"]}], **late)
    assert first.action == "rule"


def test_a_hold_and_a_settled_claim() -> None:
    """A held claim waits, a settled one asks for nothing."""
    assert steps(held=True, hold_until=AS_OF)[0].action == "wait"
    (step,) = steps(open=False, group=None)
    assert (step.action, step.path) == ("nothing", None)


@pytest.mark.parametrize(
    ("step", "action"),
    [
        ("approve", "approve"),
        ("send", "letters"),
        ("wait", "hold"),
        ("rule", "rule"),
        ("enter", "record"),
        ("correct", "correct"),
    ],
)
def test_who_is_named_for_a_step_may_do_it(step: str, action: str) -> None:
    """The roles in words are those of the desk; an engineer's share of rows may go unsaid."""
    named = {role for role in ROLES if role in _WHO[step].lower()}
    may = {role for role in ROLES if action in _MAY[role]}
    assert named
    assert named <= may
    assert may - named <= {"engineer"}


def test_every_step_but_nothing_says_who_does_it() -> None:
    """What is to be done has somebody who can."""
    assert {*_WHO} == {"approve", "send", "wait", "rule", "enter", "correct"}
