"""One claim as the desk knows it now: its version, its events and what they add up to.

Belongs here: bringing together what the store and the events hold of a claim. Does not belong
here: how a page or the API shows it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import polars as pl

from pipelines.actions import told_rulings
from pipelines.actions.on_file import decision_on_file
from pipelines.desk.site import DeskSite
from pipelines.desk.views.worklist import Worklist, worklist
from pipelines.events.database import Desk
from pipelines.events.event import Recorded
from pipelines.events.states import ClaimState, claim_states
from pipelines.queries.decided_since import decided_since
from pipelines.store.database import query_frame
from pipelines.store.lookups import payment_of
from pipelines.store.reading import open_store
from pipelines.worklist.next_steps import next_steps
from schemas.columns import column_names
from schemas.decisions import Decisions, Findings
from schemas.payments import Payments

_FINDINGS = [name for name in column_names(Findings) if name != "claim"]


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


def told_claim(site: DeskSite, claim: str) -> dict[str, Any]:
    """One claim as programs read it.

    Raises:
        Refused: 404 for a claim that is not on record.
    """
    now = claim_now(site.desk, claim)
    with open_store(site.workspace) as con:
        findings = query_frame(
            con, "select * from findings where claim = ? order by position", [claim]
        )
        payment = payment_of(con, claim)
        stored = query_frame(con, "select * from decisions where claim = ?", [claim])
    since = decided_since(site.desk, site.day)
    published = _told(stored, findings)
    decided = _told(since.of(claim, stored), since.findings_of(claim, findings))
    rows = worklist(site).rows.filter(pl.col("claim") == claim).to_dicts()
    return {
        "claim": claim,
        "version": now.version,
        "decided": decided,
        "published": published,
        "differs": decided != published,
        "assigned_to": now.state.assigned_to,
        "hold_until": now.state.hold_until,
        "rulings": now.rulings,
        "appeals": now.state.appeals,
        "notes": now.state.notes,
        "events": [event.told() for event in now.events],
        "payment": payment and {name: payment[name] for name in column_names(Payments)},
        "next_steps": [step.to_dict() for row in rows for step in next_steps(row, [], site.day)],
    }


def _told(decisions: pl.DataFrame, findings: pl.DataFrame) -> dict[str, Any] | None:
    """A decision and its findings; None where there is none."""
    if decisions.is_empty():
        return None
    return {
        **decisions.select(column_names(Decisions)).row(0, named=True),
        "findings": findings.sort("position").select(_FINDINGS).to_dicts(),
    }


def row_of(found: Worklist, claim: str) -> dict[str, Any]:
    """The row of one claim in the order of all."""
    return found.rows.filter(pl.col("claim") == claim).row(0, named=True)
