"""What people lay into a workspace, as source assets that Dagster can observe.

Belongs here: the five assets, their data versions, and the look that each run takes at them. Does
not belong here: how they are hashed (`pipelines.store.states`).
"""

import warnings
from collections.abc import Iterator

import dagster as dg

from pipelines.errors import LimeledgerError
from pipelines.store.inputs import load_inputs
from pipelines.store.states import run_state

DATA_VERSION_TAG = "dagster/data_version"  # as Dagster names it
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


def observe(instance: dg.DagsterInstance, workspace: str) -> None:
    """Tells Dagster what lies in a workspace where it is not what it was told last.

    Without it the first tables of a run would be put down as made of inputs that nobody has
    looked at, and Dagster's page could not say later which of them are stale. Inputs that cannot
    be read are left to the run, which tells what is wrong.
    """
    try:
        state = run_state(load_inputs(workspace))
    except LimeledgerError:
        return
    for name in SOURCES:
        version = getattr(state, name)
        last = instance.fetch_observations(dg.AssetKey(name), limit=1).records
        seen = last[0].asset_observation if last else None
        if seen is None or seen.data_version != version:
            tags = {DATA_VERSION_TAG: version}
            instance.report_runless_asset_event(dg.AssetObservation(name, tags=tags))
