"""Causes that notes suggest, as tables.

Belongs here: the assets. Does not belong here: how anything is suggested
(`pipelines.assist.causes`). No decision depends on them.
"""

from collections.abc import Iterator

import dagster as dg

from pipelines.orchestration.resources import SESSION
from pipelines.orchestration.tables import schema_check, table_spec, write_table
from pipelines.steps.cause_suggestions import cause_tables
from schemas.causes import CAUSE_TABLES

GROUP = "causes"
DEPS = (
    "service_calls",
    "startups",
    "unit_histories",
    "terms_installation_limits",
    "reference_causes",
    "reference_phrases",
)


@dg.multi_asset(
    specs=[
        table_spec(
            name, table, group=GROUP, deps=DEPS, about="It is for people, and decides nothing."
        )
        for name, table in CAUSE_TABLES.items()
    ],
    check_specs=[schema_check(name) for name in CAUSE_TABLES],
    required_resource_keys={SESSION},
)
def cause_suggestions_of_notes(context: dg.AssetExecutionContext) -> Iterator[dg.MaterializeResult]:
    """Learns from the booked causes and suggests others."""
    session = context.resources.session
    with session.step("Causes from notes"):
        for name, frame in cause_tables(session):
            yield write_table(session, name, frame, CAUSE_TABLES[name])
