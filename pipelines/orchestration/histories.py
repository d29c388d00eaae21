"""What is known of units and waters, as tables.

Belongs here: the assets. Does not belong here: how they are computed (`pipelines.units`,
`pipelines.water`).
"""

from collections.abc import Iterator

import dagster as dg

from pipelines.orchestration.reference import REFERENCE_ASSETS
from pipelines.orchestration.resources import SESSION
from pipelines.orchestration.tables import TableWriter, schema_check, table_spec
from pipelines.steps.units import known_figures, unit_tables_of, water_profiles_of
from pipelines.store.database import write_frame
from schemas.codes import FEEDS
from schemas.histories import UnitHistories, Upcoming, WaterProfiles

GROUP = "histories"
TABLES = {
    "unit_histories": UnitHistories,
    "water_profiles": WaterProfiles,
    "upcoming": Upcoming,
}


@dg.multi_asset(
    specs=[
        *(
            table_spec(name, table, group=GROUP, deps=[*FEEDS, *REFERENCE_ASSETS, "terms_values"])
            for name, table in TABLES.items()
        ),
        dg.AssetSpec(
            "cartridge_spans",
            deps=["unit_histories"],
            group_name=GROUP,
            kinds={"polars", "duckdb"},
            description="One row is one stretch in which a system's cartridges lasted, or did not.",
        ),
    ],
    check_specs=[schema_check(name) for name in TABLES],
    required_resource_keys={SESSION},
)
def unit_tables(context: dg.AssetExecutionContext) -> Iterator[dg.MaterializeResult]:
    """Computes histories, profiles and what is coming up."""
    session = context.resources.session
    with session.step("Units and waters"):
        tables = unit_tables_of(session.inputs, session.con)
        session.watched = tables.watched
        writers = {name: TableWriter(session, name, table) for name, table in TABLES.items()}
        writers["unit_histories"].add(tables.unit_histories)
        writers["upcoming"].add(tables.upcoming)
        write_frame(session.con, "cartridge_spans", tables.cartridge_spans)
        del tables
        known = known_figures(session)
        units = session.watched.units
        for profiles in water_profiles_of(session.inputs, session.con, units, known):
            writers["water_profiles"].add(profiles)
        for writer in writers.values():
            yield writer.done()
        yield dg.MaterializeResult(asset_key="cartridge_spans")
