"""Whether the desk still holds what the last publication rested on of it.

Belongs here: comparing the two, and refusing to go on without. Does not belong here: the rest of
what the doctor finds at a desk (`pipelines.nightly.health`).

Without it a refresh would decide as if nobody had ever ruled, entered or corrected anything, and
an action would begin a second desk that a backup could not be put in the place of.
"""

from __future__ import annotations

import json

from pipelines.errors import StorageError, WorkspaceError
from pipelines.events.recorded import digest_at
from pipelines.store.archive.recovery import is_sound
from pipelines.store.database import has_table, one_row
from pipelines.store.published_state import state_of
from pipelines.store.reading import open_store
from pipelines.workspace.layout import DESK_DATABASE, Workspace
from pipelines.workspace.settings import Settings
from schemas.codes import DESK_FILE

OPTION = "--desk-is-lost"
_KEPT = "select content from archived_files where kind = 'recorded' and sha256 = ?"


def refuse_lost_desk(workspace: Workspace, settings: Settings) -> None:
    """Raises `WorkspaceError` where people's work that was published is no longer there."""
    if (lost := lost_desk(workspace, settings)) is not None:
        raise WorkspaceError(
            f"{lost} Nothing was written. Put desk/ back (from a backup, or the disk that it lies "
            f"on). Only where it is lost for good: `limeledger refresh {workspace.root} {OPTION}` "
            "publishes without it, and the desk begins anew."
        )


def lost_desk(workspace: Workspace, settings: Settings) -> str | None:
    """What of the desk is lost, in a sentence; None where all is there that was published."""
    known = _published(workspace)
    if known is None or digest_at(workspace, settings, known[0]) == known[1]:
        return None
    place = "the database of [desk]" if settings.desk.database else f"desk/{DESK_DATABASE}"
    return (
        f"What people recorded is lost: the last publication knew the desk up to event {known[0]}, "
        f"and {place} is not there or does not hold that event."
    )


def _published(workspace: Workspace) -> tuple[int, str] | None:
    """Number and digest of the last event at the desk that the last publication rested on."""
    try:
        if not is_sound(workspace):
            return None
        with open_store(workspace) as con:
            state = state_of(con)
            if state is None or not has_table(con, "archived_files"):
                return None
            listing = one_row(con, _KEPT, [state.recorded])
            hashes = dict(json.loads(listing[0])) if listing else {}
            content = one_row(con, _KEPT, [hashes.get(DESK_FILE)])
    except StorageError:
        return None  # whoever needs the store tells it
    if content is None:
        return None
    event = json.loads(content[0])
    return int(event["event"]), str(event["digest"])
