"""Rulings: making one or many, the second person, and taking one back.

Belongs here: who may rule how much, and what waits. Does not belong here: what a ruling does to
verdict and money (`pipelines.coverage.standing`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

import sqlalchemy as sa

from pipelines.actions.acting import Answer, Version, act, check_version
from pipelines.actions.caller import Caller
from pipelines.actions.granting import ruling_payload, within_limit
from pipelines.actions.letters_after import letters_after
from pipelines.actions.on_file import decisions_now, needed_decision
from pipelines.actions.ruling_answers import ruling_answer
from pipelines.actions.values import amount, refuse, text
from pipelines.coverage.money import LINES
from pipelines.coverage.ruling_limits import granted
from pipelines.errors import Refused
from pipelines.events.database import Desk
from pipelines.events.event import Recorded
from pipelines.events.states import AMOUNTS, RULING_KINDS, Ruling, rulings_of
from pipelines.workspace.layout import Workspace

MOST_AT_ONCE = 500
MOST_TOLD = 5  # of the claims in the way, in one sentence


def rule(
    desk: Desk,
    workspace: Workspace,
    caller: Caller,
    *,
    claim: str,
    ruling: str,
    reason: str,
    parts_amount: Any = None,
    labor_amount: Any = None,
    travel_amount: Any = None,
    ruled_at: object = None,
    expected_version: Version = None,
) -> Answer:
    """Rules on one claim.

    Returns:
        event, claim, version, the ruling, `granted`, `state` (stands, waiting or overruled),
        `replaces` (the ruling that stood until then), `overruled_by`.
    """
    caller.require("rule")
    given = dict(zip(AMOUNTS, (parts_amount, labor_amount, travel_amount), strict=True))
    amounts = {name: amount(name, value) for name, value in given.items()}
    decisions = decisions_now(desk, [claim], caller.as_of)
    decision = needed_decision(decisions, claim)
    payload = ruling_payload(desk, caller, decision, ruling, reason, amounts, ruled_at)

    def do(connection: sa.Connection) -> int:
        check_version(desk, connection, claim, expected_version)
        return desk.append(connection, caller.event("ruling", claim=claim, payload=payload))

    return act(desk, caller, do, lambda made: _answer(desk, caller, made))


def rule_many(
    desk: Desk,
    workspace: Workspace,
    caller: Caller,
    *,
    claims: Sequence[Mapping[str, Any]],
    ruling: str,
    reason: str,
    ruled_at: object = None,
) -> Answer:
    """Rules alike on 1 to 500 claims, each with its version: all of them, or none.

    Raises:
        Refused: 409 with a sentence for each claim in the way.
    """
    caller.require("rule")
    if not 1 <= len(claims) <= MOST_AT_ONCE:
        raise refuse("claims", f"are {len(claims)}; name 1 to {MOST_AT_ONCE} of them.")
    names = [str(one["claim"]) for one in claims]
    if len(set(names)) < len(names):
        raise refuse("claims", "name a claim twice; name each once.")
    none: dict[str, Decimal | None] = dict.fromkeys(AMOUNTS)
    payloads, faults = {}, []
    decisions = decisions_now(desk, names, caller.as_of)
    for claim in names:
        try:
            decision = needed_decision(decisions, claim)
            payloads[claim] = ruling_payload(desk, caller, decision, ruling, reason, none, ruled_at)
        except Refused as refused:
            if refused.status == 422:
                raise
            faults.append((claim, refused.detail))

    def do(connection: sa.Connection) -> int:
        for one in claims:
            try:
                check_version(desk, connection, str(one["claim"]), one.get("version"))
            except Refused as refused:
                faults.append((str(one["claim"]), refused.detail))
        if faults:
            sentence = " ".join(f"{claim}: {detail}" for claim, detail in faults[:MOST_TOLD])
            sentence += f" {len(faults) - MOST_TOLD} more." if len(faults) > MOST_TOLD else ""
            raise Refused(409, f"Nothing was ruled, since these are in the way: {sentence}", faults)
        return [
            desk.append(connection, caller.event("ruling", claim=claim, payload=payload))
            for claim, payload in payloads.items()
        ][-1]

    def tell(last: Recorded) -> Answer:
        first = last.event - len(names) + 1
        with desk.reading() as connection:
            made = desk.events(connection, after=first - 1, limit=len(names))
        letters_after(desk, caller, names)
        return {"event": last.event, "rulings": [ruling_answer(desk, event) for event in made]}

    return act(desk, caller, do, tell)


def approve(
    desk: Desk,
    workspace: Workspace,
    caller: Caller,
    *,
    event: int,
    expected_version: Version = None,
) -> Answer:
    """Lets a waiting ruling stand: by another person, a lead whose own limit covers it."""
    caller.require("approve")
    grants_now = _grants_now(desk, caller, event)

    def do(connection: sa.Connection) -> int:
        ruling = _ruling(desk, connection, event)
        check_version(desk, connection, ruling.claim, expected_version)
        if not ruling.waits:
            raise Refused(409, f"Ruling {event} does not wait. Nothing was recorded.")
        if caller.actor == ruling.actor or _same(caller.name, ruling.ruled_by):
            raise Refused(
                403,
                f"{caller.name} made ruling {event}; another person has to approve it. "
                "Nothing was recorded.",
            )
        total = max(Decimal(ruling.granted["total"]), grants_now)
        within_limit(desk, caller.name, total, "approve")
        payload = {"approves": event, "approved_by": caller.name}
        subject = f"ruling {event}"
        return desk.append(
            connection,
            caller.event("approval", claim=ruling.claim, subject=subject, payload=payload),
        )

    return act(desk, caller, do, lambda made: _answer(desk, caller, made, event))


def _grants_now(desk: Desk, caller: Caller, event: int) -> Decimal:
    """What a ruling comes to by now: a row that was corrected since may have raised it."""
    with desk.reading() as connection:
        ruling = _ruling(desk, connection, event)
    decision = decisions_now(desk, [ruling.claim], caller.as_of).get(ruling.claim)
    if decision is None:
        return Decimal(0)
    given = {line: amount(line, ruling.amounts[f"{line}_amount"]) for line in LINES}
    return granted(ruling.ruling, given, decision)


def withdraw_ruling(
    desk: Desk,
    workspace: Workspace,
    caller: Caller,
    *,
    event: int,
    reason: str,
    expected_version: Version = None,
) -> Answer:
    """Takes a ruling back, so that it counts as never made: by who made it, or a lead."""
    caller.require("rule")
    payload = {"withdraws": event, "reason": text("reason", reason)}

    def do(connection: sa.Connection) -> int:
        ruling = _ruling(desk, connection, event)
        check_version(desk, connection, ruling.claim, expected_version)
        if ruling.withdrawn_on is not None:
            raise Refused(409, f"Ruling {event} was withdrawn already. Nothing was recorded.")
        if caller.role not in (None, "lead") and caller.actor != ruling.actor:
            raise Refused(
                403,
                f"{ruling.ruled_by} made ruling {event}; they or a lead can withdraw it. "
                "Nothing was recorded.",
            )
        subject = f"ruling {event}"
        return desk.append(
            connection,
            caller.event("withdrawal", claim=ruling.claim, subject=subject, payload=payload),
        )

    return act(desk, caller, do, lambda made: _answer(desk, caller, made, event))


def _answer(desk: Desk, caller: Caller, made: Recorded, of: int | None = None) -> Answer:
    """The answer, once the agency's letter is in the register."""
    letters_after(desk, caller, [str(made.claim)])
    return ruling_answer(desk, made, of)


def _ruling(desk: Desk, connection: sa.Connection, event: int) -> Ruling:
    recorded = desk.event(connection, event)
    if recorded is None or recorded.kind != "ruling":
        raise Refused(404, f"There is no ruling {event}; `limeledger audit` lists the events.")
    of_claim = desk.events(connection, claim=recorded.claim, kinds=RULING_KINDS)
    return next(ruling for ruling in rulings_of(of_claim) if ruling.event == event)


def _same(one: str, other: str) -> bool:
    return one.strip().casefold() == other.strip().casefold()
