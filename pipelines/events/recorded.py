"""What people recorded, as a run reads it: rows of feeds, and corrections of landed rows.

Belongs here: folding events into rows and corrections in force, and what a state says of them.
Does not belong here: typing them (`pipelines.records`), or what else people did
(`pipelines.events.states`).

A run reads the events that were there when it began; what is recorded meanwhile is the next one's.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import sqlalchemy as sa

from pipelines.events.connecting import looked_at
from pipelines.events.database import Desk
from pipelines.events.event import Recorded
from pipelines.events.opening import is_there, open_desk
from pipelines.events.ruling_days import content_of
from pipelines.events.states import RULING_KINDS, Ruling, rulings_of
from pipelines.events.tables import EVENTS
from pipelines.records.corrections import Correction
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import Settings

KINDS = (*RULING_KINDS, "record", "correction")
FEED_OF_RULINGS = "rulings"


@dataclass(frozen=True)
class EnteredRecord:
    """A record that a person entered.

    values: the feed's columns as typed, without the empty ones.
    settles: file and line of the set-aside row that it stands for.
    """

    event: int
    feed: str
    claim: str | None
    values: Mapping[str, str]
    settles: tuple[str, int] | None
    documents: tuple[str, ...]
    actor: str
    at: str
    withdrawn: int | None = None  # by which event


@dataclass(frozen=True)
class MadeCorrection:
    """A correction with who made it, why, and of which landed row."""

    correction: Correction
    file: str
    line: int
    old: Mapping[str, str]
    actor: str
    at: str
    reason: str
    claim: str | None
    withdrawn: int | None = None

    @property
    def event(self) -> int:
        """The number of its event."""
        return self.correction.event


@dataclass(frozen=True)
class DeskRecord:
    """All that people recorded up to some event.

    decisive: the last event up to there that decides anything of claims.
    content: what stands for it in a state, and is archived: the last event that is read.
    """

    last_event: int = 0
    decisive: int = 0
    content: bytes | None = None
    records: tuple[EnteredRecord, ...] = ()
    made: tuple[MadeCorrection, ...] = ()
    rulings: tuple[Ruling, ...] = ()
    damaged: tuple[str, ...] = ()

    def rows(self, feed: str) -> list[tuple[int, Mapping[str, str]]]:
        """The rows of a feed, each with its event's number, in their order."""
        if feed == FEED_OF_RULINGS:
            return [(one.event, ruling_row(one)) for one in self.rulings if one.in_force]
        return [
            (one.event, one.values)
            for one in self.records
            if one.feed == feed and one.withdrawn is None
        ]

    def corrections(self, feed: str) -> list[Correction]:
        """The corrections of a feed that are not withdrawn, in their order."""
        return [
            one.correction
            for one in self.made
            if one.withdrawn is None and one.correction.feed == feed
        ]

    @property
    def settled(self) -> dict[tuple[str, str, int], int]:
        """Which event stands for a set-aside row: by feed, file and line."""
        return {
            (one.feed, *one.settles): one.event
            for one in self.records
            if one.settles is not None and one.withdrawn is None
        }


def correction_text(made: MadeCorrection) -> str:
    """How a row was corrected, by whom and why."""
    changes = ", ".join(
        f"{name} {made.old.get(name) or '(empty)'} → {value or '(empty)'}"
        for name, value in made.correction.values.items()
    )
    return f"{changes}, {made.actor}, {made.reason}"


def ruling_row(ruling: Ruling) -> dict[str, str]:
    """A ruling as a row of its feed."""
    row = {
        "claim": ruling.claim,
        "ruled_at": ruling.ruled_at,
        "ruled_by": ruling.ruled_by,
        "ruling": ruling.ruling,
        "reason": ruling.reason,
        **ruling.amounts,
    }
    return {name: value for name, value in row.items() if value}


def read_recorded(workspace: Workspace, settings: Settings, up_to: int | None = None) -> DeskRecord:
    """What people recorded; nothing where there is no desk.

    Args:
        up_to: the last event to read; None for all that are there.

    Raises:
        WorkspaceError: the desk's database cannot be reached, or is of a newer tool.
    """
    if not is_there(workspace, settings):
        return DeskRecord()
    desk = open_desk(workspace, settings)
    try:
        return recorded_of(desk, up_to)
    finally:
        desk.close()


def look_at_recorded(workspace: Workspace, settings: Settings) -> DeskRecord:
    """The same, writing nothing: what an earlier version kept is not taken over."""
    desk = looked_at(workspace, settings)
    if desk is None:
        return DeskRecord()
    try:
        return recorded_of(desk)
    finally:
        desk.close()


def digest_at(workspace: Workspace, settings: Settings, event: int) -> str | None:
    """The digest of an event; None where there is no such event, or no desk. Writes nothing."""
    desk = looked_at(workspace, settings)
    if desk is None:
        return None
    try:
        with desk.reading() as connection:
            chosen = sa.select(EVENTS.c.digest).where(EVENTS.c.event == event)
            digest: str | None = connection.execute(chosen).scalar()
            return digest
    finally:
        desk.close()


def recorded_of(desk: Desk, up_to: int | None = None) -> DeskRecord:
    """The same of an open desk."""
    with desk.reading() as connection:
        return recorded_in(desk, connection, up_to)


def recorded_in(desk: Desk, connection: sa.Connection, up_to: int | None = None) -> DeskRecord:
    """The same within a transaction."""
    last = desk.last_event(connection) if up_to is None else up_to
    events = [event for event in desk.events(connection, kinds=KINDS) if event.event <= last]
    record = folded(events, last, damaged=desk.damaged)
    return replace(record, content=content_of(connection, last, record.rulings, desk.settings.zone))


def folded(
    events: Iterable[Recorded],
    last: int,
    content: bytes | None = None,
    damaged: tuple[str, ...] = (),
) -> DeskRecord:
    """What events of KINDS, in their order, add up to."""
    events = list(events)
    gone = {
        event.payload["withdraws"]: event.event for event in events if event.kind == "withdrawal"
    }
    return DeskRecord(
        last,
        events[-1].event if events else 0,
        content,
        tuple(_record(event, gone) for event in events if event.kind == "record"),
        tuple(_correction(event, gone) for event in events if event.kind == "correction"),
        tuple(rulings_of(event for event in events if event.kind in RULING_KINDS)),
        damaged,
    )


def _record(event: Recorded, gone: Mapping[int, int]) -> EnteredRecord:
    payload = event.payload
    settles = payload.get("settles")
    return EnteredRecord(
        event=event.event,
        feed=payload["feed"],
        claim=event.claim,
        values=dict(payload["values"]),
        settles=(settles["file"], int(settles["line"])) if settles else None,
        documents=tuple(payload.get("documents") or ()),
        actor=event.actor,
        at=event.at,
        withdrawn=gone.get(event.event),
    )


def _correction(event: Recorded, gone: Mapping[int, int]) -> MadeCorrection:
    payload = event.payload
    return MadeCorrection(
        correction=Correction(
            event.event,
            payload["feed"],
            dict(payload["content"]),
            tuple(payload.get("unsound") or ()),
            dict(payload["values"]),
        ),
        file=payload["file"],
        line=int(payload["line"]),
        old=dict(payload["was"]),
        actor=event.actor,
        at=event.at,
        reason=payload["reason"],
        claim=event.claim,
        withdrawn=gone.get(event.event),
    )
