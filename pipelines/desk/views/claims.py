"""One claim as the desk knows it now: its version, its events and what they add up to.

Belongs here: bringing together what the store and the events hold of a claim. Does not belong
here: how a page or the API shows it.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import polars as pl

from pipelines.actions import rulings_answer
from pipelines.actions.letters import letters
from pipelines.desk.site import DeskSite
from pipelines.desk.views.rows import corrections, entered_records
from pipelines.desk.views.worklist import worklist_row
from pipelines.errors import Refused
from pipelines.events.event import Recorded
from pipelines.events.states import ClaimState, claim_states
from pipelines.queries.decided_since import DecidedSince, decided_since
from pipelines.store.claim_reads import decision_row, finding_rows
from pipelines.store.lookups import payment_of
from pipelines.store.reading import no_such_claim, open_store
from pipelines.worklist.next_steps import NextStep, next_steps
from schemas.columns import column_names
from schemas.decisions import Decisions, Findings
from schemas.payments import Payments

_FINDINGS = [name for name in column_names(Findings) if name != "claim"]


@dataclass(frozen=True)
class ClaimNow:
    """A claim as decided now and as published, its events, and what those add up to."""

    claim: str
    decided: dict[str, Any] | None
    published: dict[str, Any] | None
    events: list[Recorded]
    state: ClaimState
    rulings: list[dict[str, Any]]

    @property
    def version(self) -> int:
        """The number of its last event; 0 without."""
        return self.events[-1].event if self.events else 0

    @property
    def differs(self) -> bool:
        """Whether what is decided now is not what was published."""
        return self.decided != self.published


def claim_now(site: DeskSite, claim: str, since: DecidedSince) -> ClaimNow:
    """One claim.

    Raises:
        Refused: 404 for a claim that is not on record.
    """
    with open_store(site.workspace) as con:
        stored = decision_row(con, claim)
        findings = finding_rows(con, claim)
    published = _decision_with_findings(stored, findings)
    decided = _decision_with_findings(since.of(claim, stored), since.findings_of(claim, findings))
    if decided is None and published is None:
        raise Refused(404, no_such_claim(claim))
    with site.desk.reading() as connection:
        events = site.desk.events(connection, claim=claim)
    state = claim_states(events).get(claim) or ClaimState()
    return ClaimNow(claim, decided, published, events, state, rulings_answer(site.desk, claim))


def _decision_with_findings(
    decisions: pl.DataFrame, findings: pl.DataFrame
) -> dict[str, Any] | None:
    """A decision and its findings; None where there is none."""
    if decisions.is_empty():
        return None
    return {
        **decisions.select(column_names(Decisions)).row(0, named=True),
        "findings": findings.sort("position").select(_FINDINGS).to_dicts(),
    }


def claim_answer(site: DeskSite, claim: str) -> dict[str, Any]:
    """One claim as programs read it.

    Raises:
        Refused: 404 for a claim that is not on record.
    """
    since = decided_since(site.desk, site.day)
    now = claim_now(site, claim, since)
    with open_store(site.workspace) as con:
        payment = payment_of(con, claim)
    return {
        "claim": claim,
        "version": now.version,
        "decided": now.decided,
        "published": now.published,
        "differs": now.differs,
        "assigned_to": now.state.assigned_to,
        "hold_until": now.state.hold_until,
        "rulings": now.rulings,
        "appeals": now.state.appeals,
        "notes": now.state.notes,
        "records": entered_records(site, claim),
        "corrections": [one for one in corrections(site) if one["claim"] == claim],
        "documents": now.state.documents,
        "letters": letters(site.desk, site.workspace, claim=claim),
        "events": [event.to_dict() for event in now.events],
        "payment": payment and {name: payment[name] for name in column_names(Payments)},
        "next_steps": [step.to_dict() for step in steps_of(site, claim, since)],
    }


def steps_of(site: DeskSite, claim: str, since: DecidedSince) -> list[NextStep]:
    """What should happen next with a claim; nothing is known of one that is no record any more."""
    row = worklist_row(site, claim, since)
    if row is None:
        return []
    of_claim = letters(site.desk, site.workspace, claim=claim)
    dated_letters = [{**one, "due_on": _day(one["due_on"])} for one in of_claim]
    return next_steps(row, dated_letters, site.day)


def _day(given: str | None) -> dt.date | None:
    return dt.date.fromisoformat(given) if given else None
