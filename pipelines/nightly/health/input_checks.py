"""The doctor's look at what a refresh reads before it reads an export.

Belongs here: what a person must know of inputs that are sound. Does not belong here: their faults,
which loading them raises.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from pipelines.events.recorded import DeskRecord
from pipelines.nightly.health.finding import Finding
from pipelines.store.inputs import load_inputs
from pipelines.workspace.layout import Workspace


def input_findings(workspace: Workspace, day: dt.date) -> Iterator[Finding]:
    """Whether claims are decided by terms that are only an example.

    Raises:
        WorkspaceError: every fault of settings, mappings, reference files, terms and templates.
    """
    warning = load_inputs(workspace.root, day, DeskRecord()).terms.warning
    if warning is not None:
        way_out = "Put in your own terms, then take `example = true` out of the file."
        yield Finding("warning", "terms", warning, way_out)
