"""Whether anything is new: asked before a run, with little that a run needs.

Belongs here: comparing what is published with the inputs. Does not belong here: a run
(`transaction`).
"""

from __future__ import annotations

import datetime as dt
from contextlib import closing
from dataclasses import replace

from pipelines.store.archive.recovery import is_sound
from pipelines.store.database import connect
from pipelines.store.inputs import Inputs
from pipelines.store.published_state import is_of, state_of
from pipelines.store.states import run_state


def is_up_to_date(inputs: Inputs) -> bool:
    """Whether store and pages are of exactly these inputs, exports, as-of day and tool."""
    return _is_published(inputs, inputs.as_of)


def is_published_but_for_the_day(inputs: Inputs) -> bool:
    """Whether store and pages are of these inputs, as of whatever day."""
    return _is_published(inputs, None)


def _is_published(inputs: Inputs, day: dt.date | None) -> bool:
    """The same as of a day; None: as of that of the store."""
    workspace = inputs.workspace
    if not is_sound(workspace):
        return False
    with closing(connect(workspace.database, read_only=True)) as con:
        if day is None:
            stored = state_of(con)
            if stored is None:
                return False
            day = stored.as_of
        return is_of(con, workspace.published, run_state(replace(inputs, as_of=day)))
