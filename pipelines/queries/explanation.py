"""One claim out of the store, as the last refresh decided it.

Belongs here: reading what is told of one claim, quickly also in a large store. Does not belong
here: deciding.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import duckdb
import polars as pl

from pipelines.counterfactuals import Counterfactuals, as_data, sentences_of, what_would_turn
from pipelines.coverage import seen
from pipelines.errors import WorkspaceError
from pipelines.events.recorded import read_recorded
from pipelines.store.database import query_frame
from pipelines.store.evidence import evidence_around
from pipelines.store.inputs import load_inputs
from pipelines.store.lookups import credits_of, payment_of
from pipelines.store.reading import open_store, published_state
from pipelines.store.rulings import all_rulings
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import load_settings
from schemas.columns import column_names
from schemas.feeds import Credits


@dataclass(frozen=True)
class Explanation:
    """One claim: its decision, findings in order, history, and what would change the verdict.

    `counterfactuals` say what would change the verdict in sentences, `turned_by` as data.
    `rulings` are all rulings on it in the order in which they were made, the last one standing;
    `rulings_since` are those recorded with the tool since the last refresh, among them. `payment`
    is its row of the table `payments` (None where there is none), `credits` what was posted;
    `unit` tells what it took over from (replaces, replacement), where it did.
    """

    decision: dict[str, Any]
    findings: list[dict[str, Any]]
    history: list[dict[str, Any]]
    counterfactuals: list[str]
    turned_by: list[dict[str, Any]]
    rulings: list[dict[str, Any]]
    rulings_since: list[dict[str, Any]]
    payment: dict[str, Any] | None
    credits: list[dict[str, Any]]
    unit: dict[str, Any]
    as_of: str
    currency: str

    def to_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {
            **self.decision,
            "as_of": self.as_of,
            "currency": self.currency,
            "findings": self.findings,
            "would_change_it": self.counterfactuals,
            "turned_by": self.turned_by,
            "history": self.history,
            "rulings": self.rulings,
            "rulings_since": self.rulings_since,
            "payment": self.payment,
            "credits": self.credits,
            **self.unit,
        }


def explain_claim(workspace: Workspace, claim: str) -> Explanation | None:
    """The explanation of one claim; None where the store does not hold it."""
    settings = load_settings(workspace)
    with open_store(workspace) as con:
        as_of = published_state(workspace, con).as_of.isoformat()
        decisions = query_frame(con, "select * from decisions where claim = ?", [claim])
        if decisions.is_empty():
            return None
        findings = query_frame(
            con, "select * from findings where claim = ? order by position", [claim]
        )
        history = query_frame(
            con, "select * from decision_history where claim = ? order by decided_at", [claim]
        )
        rulings = all_rulings(read_recorded(workspace, settings), con, claim, settings.zone)
        payment = payment_of(con, claim)
        posted = credits_of(con, decisions["claim"], dt.date.fromisoformat(as_of))
        unit = _unit(con, decisions["serial"][0])
        counterfactuals, turned_by = _what_would_change(workspace, con, decisions, as_of)
    return Explanation(
        decisions.row(0, named=True),
        findings.to_dicts(),
        history.to_dicts(),
        counterfactuals,
        turned_by,
        rulings,
        [ruling for ruling in rulings if ruling["since_refresh"]],
        payment,
        posted.select(name for name in column_names(Credits) if name != "claim").to_dicts(),
        unit,
        as_of,
        settings.currency,
    )


def _what_would_change(
    workspace: Workspace, con: duckdb.DuckDBPyConnection, decisions: pl.DataFrame, as_of: str
) -> tuple[list[str], list[dict[str, Any]]]:
    """What would change the verdict, by deciding again as of the last refresh."""
    now = decisions["verdict"][0]
    if now == "covered":
        return sentences_of(Counterfactuals.covered()), []
    try:
        inputs = load_inputs(workspace.root, as_of)
    except WorkspaceError as error:
        fault = error.faults[0]
        return [f"What would change this cannot be told before this is mended: {fault}"], []
    serials = pl.concat([decisions["serial"], decisions["serial_suggestion"]]).drop_nulls()
    evidence = seen(evidence_around(inputs, con, serials))
    counterfactuals = next(iter(what_would_turn(evidence, inputs.terms, decisions).values()), None)
    if counterfactuals is None or counterfactuals.verdict != now:
        return [
            "What would change this cannot be told: the settings, terms or reference files have "
            "changed since the last refresh; refresh first."
        ], []
    return sentences_of(counterfactuals), as_data(counterfactuals)


def _unit(con: duckdb.DuckDBPyConnection, serial: str) -> dict[str, Any]:
    """What the unit took over from."""
    history = query_frame(
        con, "select replaces, replacement from unit_histories where serial = ?", [serial]
    )
    return history.row(0, named=True) if history.height else {"replaces": None, "replacement": None}
