"""What is on file as of the last refresh: whether there is such a claim, and its decision.

Belongs here: looking. Does not belong here: deciding (`pipelines.queries.decided_since`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl

from pipelines.errors import Refused
from pipelines.events.database import Desk
from pipelines.queries.decided_since import decided_since
from pipelines.store.claim_reads import decision_row, decision_rows, exported_rulings
from pipelines.store.reading import no_such_claim, open_store


def decision_on_file(desk: Desk, claim: str, day: dt.date) -> dict[str, Any]:
    """The row of `decisions` of a claim as published; of one that came since, as decided now.

    Raises:
        Refused: 404 for a claim that is not on file.
        WorkspaceError: nothing was refreshed yet.
    """
    with open_store(desk.workspace) as con:
        published = decision_row(con, claim)
    if not published.is_empty():
        return published.row(0, named=True)
    return needed_decision(decisions_now(desk, [claim], day), claim)


def decisions_now(desk: Desk, claims: Sequence[str], day: dt.date) -> dict[str, dict[str, Any]]:
    """The rows of `decisions` of those of the claims that are on file, as decided now.

    Raises:
        WorkspaceError: nothing was refreshed yet, or by another version of the tool.
    """
    with open_store(desk.workspace) as con:
        since = decided_since(desk, day, claims)
        published = decision_rows(con, claims)
    decisions = since.instead(published).filter(pl.col("claim").is_in(claims))
    return {row["claim"]: row for row in decisions.iter_rows(named=True)}


def needed_decision(decisions: Mapping[str, dict[str, Any]], claim: str) -> dict[str, Any]:
    """The decision of a claim.

    Raises:
        Refused: 404 for a claim that is not on file.
    """
    if claim not in decisions:
        raise Refused(404, no_such_claim(claim))
    return decisions[claim]


def rulings_on_file(desk: Desk, claim: str) -> list[dict[str, Any]]:
    """The rulings on a claim that came by exports and are seen by the last refresh's day."""
    with open_store(desk.workspace) as con:
        return exported_rulings(con, claim).to_dicts()
