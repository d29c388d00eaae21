"""What people did with claims, as the worklist tells it: one row a claim on which they acted.

Belongs here: assignment, hold, appeal and waiting ruling of each claim. Does not belong here: where
that puts a claim in the list (`pipelines.worklist`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence

import polars as pl
import sqlalchemy as sa

from pipelines.events.event import Recorded
from pipelines.events.states import RULING_KINDS, ClaimState, claim_states, rulings_of
from pipelines.events.tables import USERS
from schemas.worklist import DESK


def worklist_rows(events: Iterable[Recorded]) -> pl.DataFrame:
    """One row of `schemas.worklist.DESK` for every claim that events name, from all in order."""
    of_claim: dict[str, list[Recorded]] = {}
    for event in events:
        if event.claim is not None:
            of_claim.setdefault(event.claim, []).append(event)
    rows = [worklist_row(claim, listed) for claim, listed in of_claim.items()]
    return pl.DataFrame(rows, schema=DESK)


def worklist_row(claim: str, events: Sequence[Recorded]) -> dict[str, object]:
    """What the events of one claim, in their order, add up to."""
    state = claim_states(events).get(claim) or ClaimState()
    rulings = rulings_of(event for event in events if event.kind in RULING_KINDS)
    waiting = next((ruling for ruling in reversed(rulings) if ruling.waits), None)
    appeal = state.appeals[-1] if state.open_appeal and state.appeals else None
    return {
        "claim": claim,
        "assigned_to": state.assigned_to,
        "hold_until": state.hold_until,
        "appealed_on": dt.date.fromisoformat(appeal["received_on"]) if appeal else None,
        "appeal_reason": appeal["reason"] if appeal else None,
        "appeal_day": state.appeal_day if appeal else None,
        "waiting_event": waiting.event if waiting else None,
        "waiting_by": waiting.ruled_by if waiting else None,
    }


def user_names(connection: sa.Connection) -> dict[str, str]:
    """The name of every user by sign-in name."""
    return {row.user: row.name for row in connection.execute(sa.select(USERS))}
