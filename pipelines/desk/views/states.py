"""What people did with all claims, kept in step with the events one by one.

Belongs here: folding new events only, however many there are. Does not belong here: what an event
does to a claim (`pipelines.events.states`).
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass, field

import polars as pl

from pipelines.events.database import Desk
from pipelines.events.event import Recorded
from pipelines.events.worklist_rows import worklist_row
from schemas.worklist import DESK


@dataclass
class _Kept:
    """The events of each claim up to a number, and the row that they add up to."""

    last: int = 0
    events: dict[str, list[Recorded]] = field(default_factory=dict)
    rows: dict[str, dict[str, object]] = field(default_factory=dict)


_KEPT: dict[str, _Kept] = {}
_LOCK = threading.Lock()


def desk_frame(desk: Desk) -> pl.DataFrame:
    """One row a claim on which people acted, with the columns of `schemas.worklist.DESK`."""
    return pl.DataFrame(list(_up_to_date(desk).rows.values()), schema=DESK)


def versions_of(desk: Desk) -> Mapping[str, int]:
    """The version of every claim that has events."""
    return {claim: events[-1].event for claim, events in _up_to_date(desk).events.items()}


def _up_to_date(desk: Desk) -> _Kept:
    key = str(desk.engine.url) + str(desk.workspace.root)
    with _LOCK:
        kept = _KEPT.setdefault(key, _Kept())
        with desk.reading() as connection:
            if desk.last_event(connection) < kept.last:  # another database under the same name
                kept = _KEPT[key] = _Kept()
            new = desk.events(connection, after=kept.last)
        touched = set()
        for event in new:
            kept.last = event.event
            if event.claim is not None:
                kept.events.setdefault(event.claim, []).append(event)
                touched.add(event.claim)
        for claim in touched:
            kept.rows[claim] = worklist_row(claim, kept.events[claim])
        return _Kept(kept.last, dict(kept.events), dict(kept.rows))
