"""What is known of units and waters, as tables.

Belongs here: the assets. Does not belong here: how they are computed (`pipelines.histories`,
`pipelines.water`).
"""

from collections.abc import Iterator

import dagster as dg

from pipelines.defs.reference import REFERENCE_ASSETS
from pipelines.defs.resources import SESSION
from pipelines.defs.tables import schema_check, table_spec, write_table
from pipelines.refresh.histories import known_figures, unit_tables_of, water_profiles_of
from pipelines.warehouse.database import write_frame
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
        yield write_table(session, "unit_histories", tables.unit_histories, UnitHistories)
        yield write_table(session, "upcoming", tables.upcoming, Upcoming)
        write_frame(session.con, "cartridge_spans", tables.cartridge_spans)
        del tables
        known = known_figures(session)
        profiles = water_profiles_of(session.inputs, session.con, session.watched.units, known)
        yield write_table(session, "water_profiles", profiles, WaterProfiles)
        yield dg.MaterializeResult(asset_key="cartridge_spans")
