"""What is on file as of the last refresh: whether there is such a claim, and its decision.

Belongs here: looking. Does not belong here: deciding (`pipelines.queries.decided_since`).
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from pipelines.errors import Refused
from pipelines.events.database import Desk
from pipelines.queries.decided_since import decided_since
from pipelines.store.claim_reads import decision_row, exported_rulings
from pipelines.store.reading import no_such_claim, open_store


def decision_on_file(desk: Desk, claim: str) -> dict[str, Any]:
    """The row of `decisions` of a claim as published; of one that came since, as decided now.

    Raises:
        Refused: 404 for a claim that is not on file.
        WorkspaceError: nothing was refreshed yet.
    """
    with open_store(desk.workspace) as con:
        found = decision_row(con, claim)
    if not found.is_empty():
        return found.row(0, named=True)
    return decision_now(desk, claim, desk.today())


def decision_now(desk: Desk, claim: str, day: dt.date) -> dict[str, Any]:
    """The row of `decisions` of a claim as decided now.

    Raises:
        Refused: 404 for a claim that is not on file.
        WorkspaceError: nothing was refreshed yet, or by another version of the tool.
    """
    since = decided_since(desk, day)
    with open_store(desk.workspace) as con:
        published = decision_row(con, claim)
    found = since.of(claim, published)
    if found.is_empty():
        raise Refused(404, no_such_claim(claim))
    return found.row(0, named=True)


def rulings_on_file(desk: Desk, claim: str) -> list[dict[str, Any]]:
    """The rulings on a claim that came by exports and are seen by the last refresh's day."""
    with open_store(desk.workspace) as con:
        return exported_rulings(con, claim).to_dicts()
