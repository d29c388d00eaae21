"""How rulings are told: each with its state, and what it replaces.

Belongs here: the answers. Does not belong here: what may be ruled (`pipelines.actions.rulings`).
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from pipelines.actions.acting import Answer
from pipelines.actions.on_file import rulings_on_file
from pipelines.events.database import Desk
from pipelines.events.event import Recorded
from pipelines.events.states import AMOUNTS, RULING_KINDS, Ruling, rulings_of

_COUNT = ("stands", "overruled")  # states of rulings that count as made
# Of two of one moment, that of an export stands: it says more than what a person typed.
_AT_DESK, _BY_EXPORT = 0, 1
_RulingAnswer = dict[str, Any]


def rulings_answer(desk: Desk, claim: str) -> list[_RulingAnswer]:
    """Every ruling on a claim by the moment of ruling, each with its state.

    Those that came by exports are as the last refresh saw them, with `event` null.
    """
    with desk.reading() as connection:
        made = rulings_of(desk.events(connection, claim=claim, kinds=RULING_KINDS))
    zone = desk.settings.zone
    by_moment = [
        ((one.local_moment(zone) or dt.datetime.min, _AT_DESK, one.event), _of_desk(one))
        for one in made
    ] + [
        ((row["ruled_at"], _BY_EXPORT, 0), _of_export(row)) for row in rulings_on_file(desk, claim)
    ]
    by_moment.sort(key=lambda pair: pair[0])
    rulings = [one for _, one in by_moment]
    counting = [one for one in rulings if one["state"] in _COUNT]
    for one in counting[:-1]:
        one["state"] = "overruled"
    return rulings


def _of_desk(ruling: Ruling) -> _RulingAnswer:
    state = "withdrawn" if ruling.withdrawn_on else "waiting" if ruling.waits else "stands"
    return {
        "event": ruling.event,
        "claim": ruling.claim,
        "ruling": ruling.ruling,
        "reason": ruling.reason,
        "ruled_by": ruling.ruled_by,
        "ruled_at": ruling.ruled_at,
        **{name: ruling.amounts[name] or None for name in AMOUNTS},
        "granted": ruling.granted.get("total"),
        "state": state,
        "approved_by": ruling.approved_by,
    }


def _of_export(row: _RulingAnswer) -> _RulingAnswer:
    return {
        "event": None,
        "claim": row["claim"],
        "ruling": row["ruling"],
        "reason": row["reason"],
        "ruled_by": row["ruled_by"],
        "ruled_at": row["ruled_at"].isoformat(timespec="seconds"),
        **{name: None if row[name] is None else f"{row[name]:.2f}" for name in AMOUNTS},
        "granted": None,
        "state": "stands",
        "approved_by": None,
    }


def ruling_answer(desk: Desk, made: Recorded, of: int | None = None) -> Answer:
    """The answer to an action on a ruling."""
    number = of or made.event
    rulings = rulings_answer(desk, str(made.claim))
    place = next(at for at, one in enumerate(rulings) if one["event"] == number)
    before = [one for one in rulings[:place] if one["state"] in _COUNT]
    after = [one for one in rulings[place + 1 :] if one["state"] in _COUNT]
    with desk.reading() as connection:  # a letter that came of it is an event of the claim too
        version = desk.version(connection, str(made.claim))
    return {
        **rulings[place],
        "event": made.event,
        "version": version,
        "replaces": before[-1] if before else None,
        "overruled_by": after[-1] if after else None,
    }
