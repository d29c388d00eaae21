"""Documents that people bring: kept first, then named by an event.

Belongs here: the action, and naming those that come with another one. Does not belong here: which
kinds are kept (`pipelines.events.documents`).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import BinaryIO

import sqlalchemy as sa

from pipelines.actions.acting import Answer, act
from pipelines.actions.caller import Caller
from pipelines.actions.on_file import decision_on_file
from pipelines.events.database import Desk
from pipelines.events.documents import Document, keep_document
from pipelines.workspace.layout import Workspace


def keep(
    desk: Desk,
    workspace: Workspace,
    caller: Caller,
    *,
    source: BinaryIO,
    name: str | None,
    claim: str | None = None,
) -> Answer:
    """Keeps a document, of a claim where one is named.

    Returns:
        event, claim and version (where a claim is named), sha256, name, type, bytes.

    Raises:
        Refused: 404 for the claim, 413 too large, 415 of another kind, 422 empty.
    """
    caller.require("document")
    if claim is not None:
        decision_on_file(desk, claim, caller.as_of)
    kept = keep_document(desk, source, name)

    def do(connection: sa.Connection) -> int:
        payload = kept.to_dict()
        return desk.append(
            connection, caller.event("document", claim=claim, subject=kept.name, payload=payload)
        )

    return act(
        desk,
        caller,
        do,
        lambda event: {
            "event": event.event,
            **({} if claim is None else {"claim": claim, "version": event.event}),
            **event.payload,
        },
    )


def name_documents(
    desk: Desk,
    connection: sa.Connection,
    caller: Caller,
    kept: Sequence[Document],
    claim: str | None,
) -> None:
    """Appends an event for each document that came with another action, within its transaction."""
    for one in kept:
        payload = one.to_dict()
        desk.append(
            connection, caller.event("document", claim=claim, subject=one.name, payload=payload)
        )
