"""What should happen next with one claim, as an action, in words, and as a command to copy.

Belongs here: which steps are open, and their words. Does not belong here: doing any of it
(`pipelines.actions`), or the order of the claims (`order`).
"""

from __future__ import annotations

import datetime as dt
import shlex
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any
from urllib.parse import quote

API = "/api/v1"
# Whoever runs the command: the name that the shell knows, to be put in another's place.
_BY = '--by "$USER"'


@dataclass(frozen=True)
class NextStep:
    """One step: `path` is the action's path in the API (null where there is none to call),
    `command` what does it from the workspace's folder."""

    action: str
    label: str
    path: str | None
    command: str

    def to_dict(self) -> dict[str, Any]:
        """For JSON."""
        return asdict(self)


def next_steps(
    row: Mapping[str, Any], letters: Sequence[Mapping[str, Any]], as_of: dt.date
) -> list[NextStep]:
    """The steps that are open for one claim, the first one first; at least one.

    Args:
        row: of `order.order_claims`.
        letters: the claim's entries in the register (entry, kind, state, email, due_on,
            sending_at: when its mail was handed over, while nobody knows what became of it).
        as_of: the day on which it is looked at.
    """
    steps = [
        *_approve(row),
        *_hold(row),
        *_send(letters),
        *_wait(row, letters, as_of),
        *_rule(row),
        *_enter(row),
        *_correct(row),
    ]
    labelled = [replace(step, label=f"{step.label} {_WHO[step.action]}") for step in steps]
    return labelled or [_nothing(row["claim"])]


# Who can do a step, by its action.
_WHO = {
    "approve": "(A lead who did not make it.)",
    "send": "(A clerk or a lead.)",
    "wait": "(A clerk or a lead.)",
    "rule": "(A clerk or a lead, within their limit.)",
    "enter": "(A clerk or a lead; water tests and start-ups an engineer too.)",
    "correct": "(A clerk or a lead.)",
}


def _claim_path(claim: str, rest: str) -> str:
    return f"{API}/claims/{quote(claim, safe='')}/{rest}"


def _approve(row: Mapping[str, Any]) -> list[NextStep]:
    event = row["waiting_event"]
    if event is None:
        return []
    said = f"A second person approves the ruling by {row['waiting_by']}, or it is withdrawn."
    path, command = f"{API}/rulings/{event}/approval", f"limeledger approve {event} {_BY}"
    return [NextStep("approve", said, path, command)]


def _hold(row: Mapping[str, Any]) -> list[NextStep]:
    if not row["held"]:
        return []
    until, claim = row["hold_until"], row["claim"]
    command = f"limeledger hold {shlex.quote(claim)} --until - {_BY} --reason 'The hold is over.'"
    said = f"Wait until {until}: the claim is on hold, which may be ended before."
    return [NextStep("wait", said, _claim_path(claim, "hold"), command)]


def _send(letters: Sequence[Mapping[str, Any]]) -> list[NextStep]:
    steps = []
    for letter in letters:
        if letter["state"] != "to_send":
            continue
        entry, what = letter["entry"], _LETTERS.get(letter["kind"], "the letter")
        if letter["sending_at"]:
            said = (
                f"Find out whether {what} (letter {entry}) to {letter['email']} went out, and mark "
                "it: its mail may have, and is not sent again by itself."
            )
            path = f"{API}/letters/{entry}/state"
            command = f"limeledger mark {entry} sent {_BY}"
        elif letter["email"]:
            said = f"Send {what} (letter {entry}) to {letter['email']}."
            path, command = f"{API}/letters/sending", f"limeledger send {entry} {_BY}"
        else:
            said = f"Send {what} (letter {entry}) by hand, since the agency has no address on file."
            path = f"{API}/letters/{entry}/state"
            command = f"limeledger mark {entry} sent {_BY}"
        steps.append(NextStep("send", said, path, command))
    return steps


_LETTERS = {
    "documents": "the request for documents",
    "question": "the question to the agency",
    "reminder": "the reminder",
    "decision": "the decision",
    "ruling": "the ruling",
}


def _wait(
    row: Mapping[str, Any], letters: Sequence[Mapping[str, Any]], as_of: dt.date
) -> list[NextStep]:
    due_days = [
        letter["due_on"] for letter in letters if letter["state"] == "sent" and letter["due_on"]
    ]
    if not due_days or not row["open"] or row["held"]:
        return []
    due, claim = max(due_days), row["claim"]
    # Past that day nobody waits any longer.
    if due < as_of:
        return []
    said = f"Wait for the agency’s answer, due by {due}."
    # A hold until today would end at once.
    if due == as_of:
        return [NextStep("wait", said, None, f"limeledger explain {shlex.quote(claim)}")]
    command = (
        f"limeledger hold {shlex.quote(claim)} --until {due} {_BY} --reason {shlex.quote(said)}"
    )
    return [NextStep("wait", said, _claim_path(claim, "hold"), command)]


def _rule(row: Mapping[str, Any]) -> list[NextStep]:
    claim, group, settled = row["claim"], row["group"], row["if_settled"]
    if row["waiting_event"] is not None or not row["open"]:
        return []
    if group == "duplicates":
        original = row["original"] or {"claim": row["duplicate_of"], "equal": False}
        same = " and asks for the same amounts" if original["equal"] else ""
        ruling, why = "not_covered", f"Claimed before as {original['claim']}."
        said = (
            f"Rule: it was claimed before as {original['claim']}{same}; not covered, unless the "
            "two are different failures."
        )
    elif group == "settled_either_way" or (group == "person" and settled == "not_covered"):
        ruling, why = "not_covered", "Not covered whichever way the dispute is settled."
        said = "Rule: it is not covered whichever way the dispute is settled."
    elif group == "person" and settled in (None, "needs_evidence"):
        ruling = row["verdict"] if row["verdict"] in _RULINGS else "not_covered"
        why = "Looked at again." if row["ruling"] else "Looked at."
        said = _why_a_person(row)
    elif group == "person":
        ruling, why = settled, "Looked at; the dispute is settled in the claim’s favor."
        said = f"Rule: {settled.replace('_', ' ')}, if the dispute is settled in its favor."
    elif row["overdue"]:
        ruling, why = "not_covered", f"No documents by {row['documents_due_on']}."
        said = f"Rule: the documents were due by {row['documents_due_on']}."
    else:
        return []
    command = f"limeledger rule {shlex.quote(claim)} {ruling} {_BY} --reason {shlex.quote(why)}"
    return [NextStep("rule", said, _claim_path(claim, "rulings"), command)]


def _why_a_person(row: Mapping[str, Any]) -> str:
    """What a person rules on, where the records settle nothing or are not the last word."""
    if row["ruling_outdated"]:
        verdict = row["verdict"].replace("_", " ")
        return f"Rule anew: since the ruling the records have come to say {verdict}."
    if row["appealed_on"] is not None:
        return f"Rule on the appeal of {row['appealed_on']}: as before, or anew."
    return "Rule: a person decides what the records cannot."


_RULINGS = ("covered", "covered_in_part", "not_covered")


def _enter(row: Mapping[str, Any]) -> list[NextStep]:
    documents = row["documents"] or []
    if not row["open"] or not documents or row["ruling"]:
        return []
    claim = row["claim"]
    said = f"When it comes, enter what is missing: {'; '.join(documents)}."
    command = f"limeledger explain {shlex.quote(claim)}"
    return [NextStep("enter", said, f"{API}/records", command)]


def _correct(row: Mapping[str, Any]) -> list[NextStep]:
    """Where the records contradict each other, one of them may be mistyped."""
    if not row["open"] or row["ruling"] or row["lead_reason"] != "records_agree":
        return []
    said = "Correct the row, where one of these days is mistyped; the evidence names file and line."
    command = f"limeledger explain {shlex.quote(row['claim'])}"
    return [NextStep("correct", said, f"{API}/corrections", command)]


def _nothing(claim: str) -> NextStep:
    said = "Nothing is to be done."
    return NextStep("nothing", said, None, f"limeledger explain {shlex.quote(claim)}")
