"""What the events of claims add up to: assignment, holds, notes, appeals, and rulings.

Belongs here: folding events, in their order, into what holds now. Does not belong here: records
and corrections (`pipelines.events.entries`), letters, or what a ruling does to a verdict
(`pipelines.coverage.standing`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any
from zoneinfo import ZoneInfo

from pipelines.events.event import Recorded

RULING_KINDS = ("ruling", "approval", "withdrawal")
AMOUNTS = ("parts_amount", "labor_amount", "travel_amount")


@dataclass(frozen=True)
class Ruling:
    """One ruling made at the desk, as it is now.

    ruled_at, amounts: as they were given, texts of the rulings feed.
    granted: what it grants by line and in all, texts with two decimals; empty where a ruling was
        taken over from a file, which did not say so.
    approved_by: the name of the second person; None where nobody was needed, or not yet.
    approved_on, withdrawn_on: the desk's days of these events; None where there were none.
    """

    event: int
    claim: str
    ruled_at: str
    ruled_by: str
    ruling: str
    reason: str
    amounts: dict[str, str]
    granted: dict[str, str]
    actor: str
    needs_approval: bool = False
    approved_by: str | None = None
    approved_on: dt.date | None = None
    withdrawn_on: dt.date | None = None

    @property
    def waits(self) -> bool:
        """Whether a second person has not looked at it yet."""
        return self.needs_approval and self.approved_by is None and self.withdrawn_on is None

    @property
    def in_force(self) -> bool:
        """Whether it counts as made: neither waiting nor withdrawn."""
        return self.withdrawn_on is None and not self.waits

    def local_moment(self, zone: ZoneInfo) -> dt.datetime | None:
        """ruled_at in the workspace's time zone; None where a text taken over is no moment."""
        try:
            at = dt.datetime.fromisoformat(self.ruled_at)
        except ValueError:
            return None
        return at if at.tzinfo is None else at.astimezone(zone).replace(tzinfo=None)


def rulings_of(events: Iterable[Recorded]) -> list[Ruling]:
    """Every ruling among events of RULING_KINDS, in the order in which they were recorded."""
    rulings: dict[int, Ruling] = {}
    for event in events:
        if event.kind == "ruling":
            rulings[event.event] = _ruling(event)
        elif event.kind == "approval" and (at := event.payload["approves"]) in rulings:
            name = event.payload["approved_by"]
            rulings[at] = replace(rulings[at], approved_by=name, approved_on=event.as_of)
        elif event.kind == "withdrawal" and (at := event.payload["withdraws"]) in rulings:
            rulings[at] = replace(rulings[at], withdrawn_on=event.as_of)
    return list(rulings.values())


def _ruling(event: Recorded) -> Ruling:
    payload = event.payload
    return Ruling(
        event=event.event,
        claim=str(event.claim),
        ruled_at=payload["ruled_at"],
        ruled_by=payload["ruled_by"],
        ruling=payload["ruling"],
        reason=payload["reason"],
        amounts={name: payload.get(name) or "" for name in AMOUNTS},
        granted=dict(payload.get("granted") or {}),
        actor=event.actor,
        needs_approval=bool(payload.get("needs_approval")),
    )


@dataclass(frozen=True)
class ClaimState:
    """What people did with one claim, beside its rulings.

    hold_until: the day on which it comes back; None without a hold.
    ruled_since: the rulings, by event, since the last appeal that count as made.
    appeal_day: the desk's day of the last appeal, or of a later approval of a ruling made before
        it: what was ruled by then is no answer to the appeal.
    """

    version: int = 0
    assigned_to: str | None = None
    hold_until: dt.date | None = None
    hold_reason: str | None = None
    ruled_since: frozenset[int] = frozenset()
    appeal_day: dt.date | None = None
    notes: list[dict[str, Any]] = field(default_factory=list)
    appeals: list[dict[str, Any]] = field(default_factory=list)
    documents: list[dict[str, Any]] = field(default_factory=list)

    @property
    def open_appeal(self) -> bool:
        """Whether an appeal waits for a ruling; one that was withdrawn is none."""
        return bool(self.appeals) and not self.ruled_since

    def appeal_beside(self, decision: Mapping[str, Any] | None) -> dict[str, Any] | None:
        """The appeal that waits, beside a claim's row of `decisions`: a ruling of a later day that
        an export brought has settled it too."""
        if not self.open_appeal:
            return None
        ruled = decision is not None and decision["ruling"] is not None
        since = decision["standing_since"] if decision is not None and ruled else None
        is_settled = since is not None and self.appeal_day is not None and since > self.appeal_day
        return None if is_settled else self.appeals[-1]


def claim_states(events: Iterable[Recorded]) -> dict[str, ClaimState]:
    """The state of every claim that events name, from all events in order."""
    states: dict[str, ClaimState] = {}
    for event in events:
        if event.claim is not None:
            before = states.get(event.claim) or ClaimState()
            states[event.claim] = replace(_after(before, event), version=event.event)
    return states


def _after(state: ClaimState, event: Recorded) -> ClaimState:
    payload = event.payload
    who = {"event": event.event, "at": event.at, "actor": event.actor}
    match event.kind:
        case "assignment":
            return replace(state, assigned_to=payload["to"])
        case "hold":
            until = payload["until"]
            day = dt.date.fromisoformat(until) if until else None
            return replace(
                state, hold_until=day, hold_reason=payload.get("reason") if day else None
            )
        case "note":
            return replace(state, notes=[*state.notes, {**who, "text": payload["text"]}])
        case "appeal":
            appeal = {**who, "received_on": payload["received_on"], "reason": payload["reason"]}
            return replace(
                state,
                appeals=[*state.appeals, appeal],
                ruled_since=frozenset(),
                appeal_day=event.as_of,
            )
        case "approval" if state.appeal_day and payload["approves"] not in state.ruled_since:
            return replace(state, appeal_day=max(state.appeal_day, event.as_of))
        case "ruling":
            return replace(state, ruled_since=state.ruled_since | {event.event})
        case "withdrawal":
            return replace(state, ruled_since=state.ruled_since - {payload["withdraws"]})
        case "document":
            return replace(state, documents=[*state.documents, {**who, **payload}])
    return state
