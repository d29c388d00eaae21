"""One claim's page as a file of its own, for claims that have none in the site.

Belongs here: gathering what the page shows. Does not belong here: how it looks (`dashboards`).
"""

from __future__ import annotations

import dataclasses

import polars as pl

from dashboards.letters import TemplateFault
from dashboards.site import claim_document
from pipelines.errors import NotFoundError, WorkspaceError
from pipelines.steps.claim_details import data_of_claims
from pipelines.steps.desk_pages import read_desk, steps_of_claims
from pipelines.steps.pages import worklist_of
from pipelines.store.database import has_table, one_row, read_frame
from pipelines.store.inputs import load_inputs
from pipelines.store.reading import no_such_claim, open_store, published_state
from pipelines.store.rulings import rulings_since
from pipelines.workspace.layout import Workspace


def page_of_claim(workspace: Workspace, claim: str) -> tuple[str, bool]:
    """The page as of the last refresh, and whether a ruling was recorded since.

    What the settings hide is not on it.

    Raises:
        NotFoundError: the store does not hold the claim.
    """
    with open_store(workspace) as con:
        inputs = load_inputs(workspace.root, published_state(workspace, con).as_of)
        if one_row(con, "select 1 from decisions where claim = ?", [claim]) is None:
            raise NotFoundError(no_such_claim(claim))
        newer = rulings_since(inputs.recorded, con)
        claims = pl.Series([claim], dtype=pl.String)
        data = data_of_claims(inputs, con, claims)
        worklist = worklist_of(data, claims, read_desk(inputs).rows)
        steps = steps_of_claims(inputs, con, worklist)
        data = dataclasses.replace(data, worklist=worklist, next_steps=steps)
        if has_table(con, "water_profiles"):
            data = dataclasses.replace(data, water_profiles=read_frame(con, "water_profiles"))
    try:
        page = claim_document(data, claim)
    except TemplateFault as fault:
        raise WorkspaceError(str(fault)) from None
    return page, any(row["claim"] == claim for row in newer)
