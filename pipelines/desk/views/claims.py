"""One claim as the desk knows it now: its version, its events and what they add up to.

Belongs here: bringing together what the store and the events hold of a claim. Does not belong
here: how a page or the API shows it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pipelines.actions import told_rulings
from pipelines.actions.on_file import decision_on_file
from pipelines.events.database import Desk
from pipelines.events.event import Recorded
from pipelines.events.states import ClaimState, claim_states


@dataclass(frozen=True)
class ClaimNow:
    """A claim with its published decision, its events, and what those add up to."""

    claim: str
    decision: dict[str, Any]
    events: list[Recorded]
    state: ClaimState
    rulings: list[dict[str, Any]]

    @property
    def version(self) -> int:
        """The number of its last event; 0 without."""
        return self.events[-1].event if self.events else 0


def claim_now(desk: Desk, claim: str) -> ClaimNow:
    """One claim.

    Raises:
        Refused: 404 for a claim that is not on record.
    """
    decision = decision_on_file(desk, claim)
    with desk.reading() as connection:
        events = desk.events(connection, claim=claim)
    state = claim_states(events).get(claim) or ClaimState()
    return ClaimNow(claim, decision, events, state, told_rulings(desk, claim))
