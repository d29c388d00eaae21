"""One claim's page as a file of its own, for claims that have none in the site.

Belongs here: gathering what the page shows. Does not belong here: how it looks (`dashboards`).
"""

from __future__ import annotations

import dataclasses

import polars as pl

from dashboards.letters import TemplateFault
from dashboards.site import claim_document
from pipelines.errors import WorkspaceError
from pipelines.refresh.inputs import load_inputs
from pipelines.refresh.pages import data_of_claims
from pipelines.refresh.reading import open_store, store_facts
from pipelines.warehouse.database import has_table, read_frame
from pipelines.workspace.layout import Workspace


def page_of_claim(workspace: Workspace, claim: str) -> str:
    """The page as of the last refresh, without what the settings hide; the claim must be there."""
    with open_store(workspace) as con:
        facts = store_facts(workspace, con)
        inputs = load_inputs(workspace.root, facts["as_of"])
        data = data_of_claims(inputs, con, pl.Series([claim], dtype=pl.String))
        if has_table(con, "water_profiles"):
            data = dataclasses.replace(data, water_profiles=read_frame(con, "water_profiles"))
    try:
        return claim_document(data, claim)
    except TemplateFault as fault:
        raise WorkspaceError(str(fault)) from None
