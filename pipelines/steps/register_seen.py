"""Whether the register of letters has seen the last publication.

Belongs here: the question, which a refresh with nothing new asks too. Does not belong here:
bringing the register up to it (`letter_register`).
"""

from __future__ import annotations

from pipelines.events import open_desk
from pipelines.events.letters import publication_seen
from pipelines.store.archive.recovery import is_sound
from pipelines.store.database import has_table
from pipelines.store.published_state import PublishedState, state_of
from pipelines.store.reading import open_store
from pipelines.workspace.layout import Workspace


def name_of(state: PublishedState) -> str:
    """The name under which the register puts down that it has seen a publication."""
    return f"{state.publication} {state.state}"


def is_behind(workspace: Workspace) -> bool:
    """Whether the register lacks what the last publication has made known.

    Raises:
        StorageError: another program holds the store, or it may not be read.
    """
    if not is_sound(workspace):
        return False
    with open_store(workspace) as con:
        state = state_of(con)
        if state is None or not has_table(con, "register_seen"):
            return False
    desk = open_desk(workspace)
    try:
        with desk.reading() as connection:
            return publication_seen(connection) != name_of(state)
    finally:
        desk.close()
