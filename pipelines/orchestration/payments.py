"""What was paid, as a table.

Belongs here: the asset. Does not belong here: how it is told (`pipelines.assist.payments`).
"""

import dagster as dg

from pipelines.orchestration.resources import SESSION
from pipelines.orchestration.tables import schema_check, table_spec, write_table
from pipelines.steps.payment_ledger import payments_of
from schemas.payments import Payments


@dg.multi_asset(
    specs=[
        table_spec("payments", Payments, group="decisions", deps=["decisions", "credits"]),
    ],
    check_specs=[schema_check("payments")],
    required_resource_keys={SESSION},
)
def claim_payments(context: dg.AssetExecutionContext) -> dg.MaterializeResult:
    """Adds up what was credited for each claim and compares it with what stands."""
    session = context.resources.session
    with session.step("Payments"):
        frame = payments_of(session.con, session.inputs.as_of)
        return write_table(session, "payments", frame, Payments)
