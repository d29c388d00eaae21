"""The decisions: findings, verdicts, and the history of both.

Belongs here: the assets. Does not belong here: any rule (`pipelines.coverage`).
"""

from collections.abc import Iterator

import altair as alt
import dagster as dg

from pipelines.orchestration.reference import REFERENCE_ASSETS
from pipelines.orchestration.resources import SESSION
from pipelines.orchestration.tables import TableWriter, schema_check, table_spec
from pipelines.records.repairs import filing_day
from pipelines.steps.decide import decide_claims
from pipelines.store.database import read_frame
from pipelines.store.transaction import RefreshSession
from schemas.codes import FEEDS
from schemas.decisions import DecisionHistory, Decisions, Findings

GROUP = "decisions"
TABLES = {
    "findings": Findings,
    "decisions": Decisions,
    "decision_history": DecisionHistory,
}


@dg.multi_asset(
    specs=[
        table_spec(
            "findings",
            Findings,
            group=GROUP,
            deps=[*FEEDS, *REFERENCE_ASSETS, "terms_values", "terms_water_limits"],
        ),
        table_spec("decisions", Decisions, group=GROUP, deps=["findings"]),
        table_spec(
            "decision_history",
            DecisionHistory,
            group=GROUP,
            deps=["decisions", "findings"],
            about="Rows are only ever added.",
        ),
    ],
    check_specs=[schema_check(name) for name in TABLES],
    required_resource_keys={SESSION},
)
def claim_decisions(context: dg.AssetExecutionContext) -> Iterator[dg.MaterializeResult]:
    """Decides every claim."""
    session = context.resources.session
    with session.step("Decisions"):
        writers = {
            name: TableWriter(session, name, table, keep=name == "decision_history")
            for name, table in TABLES.items()
        }
        deciding = decide_claims(session)
        for decided in deciding.batches:
            for name, writer in writers.items():
                writer.add(getattr(decided, name))
        writers["findings"].let_stand(deciding.standing, ["claim", "position"])
        writers["decisions"].let_stand(deciding.standing, ["claim"])
        for name, writer in writers.items():
            told = {"preview": _preview(session, writer.written())} if name == "decisions" else {}
            yield writer.done(told)


def _preview(session: RefreshSession, table: str) -> dg.MetadataValue:
    """Verdicts by month of the claim, as a chart's specification."""
    decisions = read_frame(session.con, table, columns=["verdict", "claimed_on", "opened_on"])
    month = filing_day().dt.truncate("1mo")
    by_month = decisions.group_by("verdict", month=month).len("claims").sort("month", "verdict")
    chart = (
        alt.Chart(by_month, title="Claims by month and verdict")
        .mark_bar()
        .encode(
            x=alt.X("month:T", title="Month filed"),
            y=alt.Y("claims:Q", title="Claims"),
            color=alt.Color("verdict:N", title="Verdict"),
        )
    )
    return dg.MetadataValue.json(chart.to_dict())
