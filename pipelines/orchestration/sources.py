"""What people lay into a workspace, as source assets that Dagster can observe.

Belongs here: the five assets and their data versions. Does not belong here: how they are hashed
(`pipelines.store.states`).
"""

import warnings
from collections.abc import Iterator

import dagster as dg

from pipelines.store.inputs import load_inputs
from pipelines.store.states import run_state

SOURCES = {
    "exports": "One file is one delivery of a feed, below exports/.",
    "mappings": "One file says how the exports of one feed are read, below mappings/.",
    "reference": "One file is one reference table, below reference/.",
    "terms": "One file is one edition of the warranty terms.",
    "settings": "The settings, limeledger.toml, and the templates of letters.",
}


def source_assets(workspace: str) -> dg.AssetsDefinition:
    """The source assets of one workspace; observing them hashes what lies there."""
    specs = [
        dg.AssetSpec(name, group_name="laid_in", description=text) for name, text in SOURCES.items()
    ]

    def laid_in(context: dg.AssetExecutionContext) -> Iterator[dg.ObserveResult]:
        state = run_state(load_inputs(workspace))
        for name in SOURCES:
            if dg.AssetKey(name) in context.selected_asset_keys:
                version = dg.DataVersion(getattr(state, name))
                yield dg.ObserveResult(asset_key=name, data_version=version)

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", dg.BetaWarning)
        source: dg.AssetsDefinition = dg.multi_observable_source_asset(
            specs=specs, can_subset=True
        )(laid_in)
    return source
