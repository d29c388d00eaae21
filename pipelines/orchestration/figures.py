"""The field figures as tables.

Belongs here: the assets. Does not belong here: estimates (`pipelines.field`).
"""

from collections.abc import Iterator

import dagster as dg

from pipelines.field.figures import FIGURES
from pipelines.orchestration.resources import SESSION
from pipelines.orchestration.tables import schema_check, table_spec, write_table
from pipelines.steps.figures import field_context, figure_tables
from schemas.field import FIELD_TABLES

GROUP = "field"


@dg.multi_asset(
    specs=[
        table_spec(
            name,
            FIELD_TABLES[name],
            group=GROUP,
            deps=["unit_histories", "service_calls", "decisions"],
        )
        for name in FIGURES
    ],
    check_specs=[schema_check(name) for name in FIGURES],
    required_resource_keys={SESSION},
)
def field_figures(context: dg.AssetExecutionContext) -> Iterator[dg.MaterializeResult]:
    """Estimates every figure in the slices that are always there."""
    session = context.resources.session
    with session.step("Field figures"):
        prepared = field_context(session.watched, session.con, session.inputs.as_of)
        session.watched = None  # it need not stand in memory beside the context
        for name, frame in figure_tables(prepared):
            yield write_table(session, name, frame, FIELD_TABLES[name])
