"""One claim out of the store, as the last refresh decided it.

Belongs here: reading what is told of one claim, quickly also in a large store. Does not belong
here: deciding.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from typing import Any

from pipelines.coverage.remedies import remedies_of
from pipelines.refresh.reading import open_store
from pipelines.refresh.recorded import CITED_AS, recorded_rulings
from pipelines.warehouse.database import query_frame
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import load_settings


@dataclass(frozen=True)
class Explanation:
    """One claim: its decision, findings in order, history, and what would change the verdict.

    `rulings_since` are those recorded with the tool since the last refresh.
    """

    decision: dict[str, Any]
    findings: list[dict[str, Any]]
    history: list[dict[str, Any]]
    remedies: list[str]
    rulings_since: list[dict[str, Any]]
    as_of: str
    currency: str

    def to_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {
            **self.decision,
            "as_of": self.as_of,
            "currency": self.currency,
            "findings": self.findings,
            "would_change_it": self.remedies,
            "history": self.history,
            "rulings_since": self.rulings_since,
        }


def explain_claim(workspace: Workspace, claim: str) -> Explanation | None:
    """The explanation of one claim; None where the store does not hold it."""
    settings = load_settings(workspace)
    with open_store(workspace) as con:
        decisions = query_frame(con, "select * from decisions where claim = ?", [claim])
        if decisions.is_empty():
            return None
        findings = query_frame(
            con, "select * from findings where claim = ? order by position", [claim]
        )
        history = query_frame(
            con, "select * from decision_history where claim = ? order by decided_at", [claim]
        )
        facts = dict(query_frame(con, "select fact, value from store_facts").iter_rows())
        known = query_frame(
            con, "select source_line from rulings where source_file = ?", [CITED_AS]
        )
    since = _recorded_since(workspace, claim, max(known["source_line"], default=1))
    told = remedies_of(decisions, findings)["sentence"].to_list()
    return Explanation(
        decisions.row(0, named=True),
        findings.to_dicts(),
        history.to_dicts(),
        told or ["Nothing is short: the claim is covered."],
        since,
        facts["as_of"],
        settings.currency,
    )


def _recorded_since(workspace: Workspace, claim: str, known_to: int) -> list[dict[str, Any]]:
    """Rulings of the claim that the last refresh did not yet read: lines after `known_to`."""
    path = recorded_rulings(workspace)
    if not path.is_file():
        return []
    with path.open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        before, found = 1, []
        for row in reader:
            if row["claim"] == claim and before + 1 > known_to:
                found.append(dict(row))
            before = reader.line_num
    return found
