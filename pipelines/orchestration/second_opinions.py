"""Second opinions and agreement as tables.

Belongs here: the assets. Does not belong here: estimates (`pipelines.assist.second_opinions`).
"""

from collections.abc import Iterator

import dagster as dg

from pipelines.orchestration.resources import SESSION
from pipelines.orchestration.tables import schema_check, table_spec, write_table
from pipelines.steps.second_opinions import opinion_tables
from schemas.second_opinions import SecondOpinionAgreement, SecondOpinions

GROUP = "second_opinions"
TABLES = {
    "second_opinions": SecondOpinions,
    "second_opinion_agreement": SecondOpinionAgreement,
}


@dg.multi_asset(
    specs=[
        table_spec(
            "second_opinions",
            SecondOpinions,
            group=GROUP,
            about="Rows are only ever added, by `limeledger second-opinion --record`.",
        ),
        table_spec(
            "second_opinion_agreement",
            SecondOpinionAgreement,
            group=GROUP,
            deps=["second_opinions", "decisions"],
        ),
    ],
    check_specs=[schema_check(name) for name in TABLES],
    required_resource_keys={SESSION},
)
def second_opinion_tables(context: dg.AssetExecutionContext) -> Iterator[dg.MaterializeResult]:
    """Sets recorded opinions beside the decisions."""
    session = context.resources.session
    with session.step("Second opinions"):
        tables = opinion_tables(session.inputs.workspace, session.con)
        for name, table in TABLES.items():
            yield write_table(session, name, getattr(tables, name), table)
