"""The doctor's look at what a refresh reads before it reads an export.

Belongs here: what a person must know of inputs that are sound. Does not belong here: their faults,
which loading them raises.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from pipelines.engine.engines import refuse_without_extra
from pipelines.events.recorded import DeskRecord
from pipelines.nightly.health.finding import Finding
from pipelines.store.inputs import load_inputs
from pipelines.workspace.layout import Workspace


def input_findings(workspace: Workspace, day: dt.date) -> Iterator[Finding]:
    """Whether claims are decided by terms that are only an example, and can be on their cluster.

    Raises:
        WorkspaceError: every fault of settings, mappings, reference files, terms and templates;
            or what a cluster needs is not installed.
    """
    inputs = load_inputs(workspace.root, day, DeskRecord())
    refuse_without_extra(inputs.settings)
    warning = inputs.terms.warning
    if warning is not None:
        way_out = "Put in your own terms, then take `example = true` out of the file."
        yield Finding("warning", "terms", warning, way_out)
