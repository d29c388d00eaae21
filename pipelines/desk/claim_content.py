"""What the page of a claim shows of its records, made once for each refresh and kept a while.

Belongs here: gathering by the same means as the published pages. Does not belong here: what people
did at the desk (`pages.claim`).

Gathering decides copies of the claim again, to tell what would change it; that takes a part of a
second, so what was gathered is kept for as long as nothing that it rests on has changed.
"""

from __future__ import annotations

import dataclasses
import threading
from collections import OrderedDict
from collections.abc import Mapping
from typing import Any

import polars as pl

from dashboards.hiding import hide_names
from dashboards.letters import TemplateFault
from dashboards.pages import claim as claim_pages
from pipelines.desk.rendering import claim_path
from pipelines.desk.site import DeskSite
from pipelines.errors import WorkspaceError
from pipelines.steps.claim_details import data_of_claims
from pipelines.store.inputs import load_inputs
from pipelines.store.lookups import rows_of
from pipelines.store.reading import open_store, published_state

MOST_KEPT = 500
AT_ONCE = threading.BoundedSemaphore(2)
_KEPT: OrderedDict[tuple[object, ...], Mapping[str, Any] | None] = OrderedDict()
_LOCK = threading.Lock()


def claim_content(site: DeskSite, claim: str) -> Mapping[str, Any] | None:
    """What `claim.html` needs of one claim as of the last refresh; None where it has none."""
    with open_store(site.workspace) as con:
        state = published_state(site.workspace, con)
        key = (str(site.workspace.root), state.publication, state.as_of, claim)
        with _LOCK:
            if key in _KEPT:
                _KEPT.move_to_end(key)
                return _KEPT[key]
        with AT_ONCE:
            inputs = load_inputs(site.workspace.root, state.as_of)
            data = data_of_claims(inputs, con, pl.Series([claim], dtype=pl.String))
            profiles = rows_of(con, "water_profiles", data.water_values["sample"])
            shown = hide_names(dataclasses.replace(data, water_profiles=profiles))
            try:
                made = next(iter(claim_pages.contents(shown, [claim], claim_path)), None)
            except TemplateFault as fault:
                raise WorkspaceError(str(fault)) from None
    with _LOCK:
        _KEPT[key] = made
        while len(_KEPT) > MOST_KEPT:
            _KEPT.popitem(last=False)
    return made
