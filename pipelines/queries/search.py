"""Searching the store for claims, units, agencies, sites, and rows that are no records.

Belongs here: one search, and numbers near one. Does not belong here: what is searched
(`pipelines.store.searched`), what matches (`pipelines.worklist.search`).
"""

from __future__ import annotations

from typing import Any

from pipelines.errors import Refused
from pipelines.store.database import query_frame
from pipelines.store.reading import open_store
from pipelines.store.searched import things_of
from pipelines.worklist.search import fold, near_numbers, search
from pipelines.workspace.layout import Workspace


def search_store(workspace: Workspace, query: str) -> dict[str, Any]:
    """What matches a query: `results`, at most 200, and `total`.

    Raises:
        Refused: 422, the query is empty.
        WorkspaceError: nothing was refreshed yet.
    """
    if not fold(query):
        told = "is empty; write a claim, a serial, a name, or a part of one."
        raise Refused(422, f"q {told}", [("q", told)])
    with open_store(workspace) as con:
        results, total = search(things_of(con), query)
    return {"query": query, "total": total, "results": results.to_dicts()}


def near_claims(workspace: Workspace, typed: str) -> list[str]:
    """The claims on file whose number is near one that is not."""
    with open_store(workspace) as con:
        return near_numbers(typed, query_frame(con, "select claim from decisions")["claim"])
