"""The reference files and the terms as tables.

Belongs here: writing what was checked when the run began. Does not belong here: reading files
(`pipelines.workspace`, `pipelines.terms`).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from pipelines.steps.step import Step, Written
from pipelines.store.transaction import RefreshSession
from schemas.reference import OPTIONAL_REFERENCE_TABLES, REFERENCE_TABLES

TERMS = {
    "terms_values": "One row is one edition of the warranty terms for one family of models.",
    "terms_water_limits": "One row is one analyte's limits in one edition for one family.",
    "terms_installation_limits": "One row is one start-up reading's limits in one edition.",
}
# `regions` alone is the figure that compares regions.
REFERENCE_ASSETS = {f"reference_{name}": table for name, table in REFERENCE_TABLES.items()}
# No decision depends on these.
OPTIONAL_ASSETS = {f"reference_{name}": table for name, table in OPTIONAL_REFERENCE_TABLES.items()}


def reference_tables(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """Puts the checked reference files and terms into the store."""
    frames = {}
    for name in STEP.tables:
        if name in wanted:
            kind, _, part = name.partition("_")
            frames[name] = getattr(getattr(session.inputs, kind), part)
    session.put(*(session.write(name, frames[name], STEP.table_class(name)) for name in frames))
    yield from map(Written, frames)


STEP = Step(
    name="reference_tables",
    group="reference",
    title="Reference files and terms",
    tables={**REFERENCE_ASSETS, **OPTIONAL_ASSETS, **TERMS},
    sources=("reference", "terms", "settings"),
    work=reference_tables,
    rooms=("pipelines/workspace", "pipelines/terms"),
    kinds=("csv", "toml", "duckdb"),
)
