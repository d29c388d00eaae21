"""How rulings made at the desk are told: each with its state, and what it replaces.

Belongs here: the answers. Does not belong here: what may be ruled (`pipelines.actions.rulings`).
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from pipelines.actions.acting import Answer
from pipelines.events.database import Desk
from pipelines.events.event import Recorded
from pipelines.events.states import AMOUNTS, RULING_KINDS, Ruling, rulings_of


def told_rulings(desk: Desk, claim: str) -> list[dict[str, Any]]:
    """The rulings made at the desk on a claim, by the moment of ruling, each with its state."""
    with desk.reading() as connection:
        rulings = rulings_of(desk.events(connection, claim=claim, kinds=RULING_KINDS))
    zone = desk.settings.zone
    rulings.sort(key=lambda one: (one.local_moment(zone) or dt.datetime.min, one.event))
    last = max((at for at, one in enumerate(rulings) if one.in_force), default=-1)
    return [
        {
            "event": one.event,
            "claim": one.claim,
            "ruling": one.ruling,
            "reason": one.reason,
            "ruled_by": one.ruled_by,
            "ruled_at": one.ruled_at,
            **{name: one.amounts[name] or None for name in AMOUNTS},
            "granted": one.granted.get("total"),
            "state": _state(one, at, last),
            "approved_by": one.approved_by,
        }
        for at, one in enumerate(rulings)
    ]


def _state(ruling: Ruling, at: int, last: int) -> str:
    if ruling.withdrawn_at is not None:
        return "withdrawn"
    if ruling.waits:
        return "waiting"
    return "stands" if at == last else "overruled"


def told_ruling(desk: Desk, made: Recorded, of: int | None = None) -> Answer:
    """The answer to an action on a ruling."""
    claim, number = str(made.claim), of or made.event
    told = told_rulings(desk, claim)
    place = next(at for at, one in enumerate(told) if one["event"] == number)
    before = [one for one in told[:place] if one["state"] in ("stands", "overruled")]
    after = [one for one in told[place + 1 :] if one["state"] in ("stands", "overruled")]
    return {
        "event": made.event,
        "version": made.event,
        **{name: value for name, value in told[place].items() if name != "event"},
        "replaces": before[-1] if before else None,
        "overruled_by": after[-1] if after else None,
    }
