"""The reference files and the terms as tables.

Belongs here: writing what the session has already checked. Does not belong here: reading files
(`pipelines.workspace`, `pipelines.terms`).
"""

from collections.abc import Iterator

import dagster as dg

from pipelines.orchestration.resources import SESSION
from pipelines.orchestration.tables import schema_check, table_spec, write_table
from pipelines.store.database import write_frame
from schemas.reference import OPTIONAL_REFERENCE_TABLES, REFERENCE_TABLES

TERMS = {
    "terms_values": "One row is one edition of the warranty terms for one family of models.",
    "terms_water_limits": "One row is one analyte's limits in one edition for one family.",
    "terms_installation_limits": "One row is one start-up reading's limits in one edition.",
}
GROUP = "reference"
# `regions` alone is the figure that compares regions.
REFERENCE_ASSETS = {f"reference_{name}": table for name, table in REFERENCE_TABLES.items()}
# No decision depends on these.
OPTIONAL_ASSETS = {f"reference_{name}": table for name, table in OPTIONAL_REFERENCE_TABLES.items()}
_ASSETS = {**REFERENCE_ASSETS, **OPTIONAL_ASSETS}


@dg.multi_asset(
    specs=[
        *(
            table_spec(name, table, group=GROUP, kinds=("csv", "duckdb"))
            for name, table in _ASSETS.items()
        ),
        *(
            dg.AssetSpec(name, group_name=GROUP, kinds={"toml", "duckdb"}, description=text)
            for name, text in TERMS.items()
        ),
    ],
    check_specs=[schema_check(name) for name in _ASSETS],
    required_resource_keys={SESSION},
)
def reference_tables(context: dg.AssetExecutionContext) -> Iterator[dg.MaterializeResult]:
    """Puts the checked reference files and terms into the store."""
    session = context.resources.session
    with session.step("Reference files and terms"):
        for name, table in _ASSETS.items():
            frame = getattr(session.inputs.reference, name.removeprefix("reference_"))
            yield write_table(session, name, frame, table)
        for name in TERMS:
            frame = getattr(session.inputs.terms, name.removeprefix("terms_"))
            write_frame(session.con, name, frame)
            yield dg.MaterializeResult(asset_key=name, metadata={"dagster/row_count": frame.height})
