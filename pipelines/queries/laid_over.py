"""Decisions of now laid over those of the store, for whoever reads both by one name.

Belongs here: the views. Does not belong here: deciding (`deciding_now`).
"""

from __future__ import annotations

from pipelines.coverage.decisions import Decided
from pipelines.queries.store_now import STORE, StoreNow
from pipelines.store.database import identifier


def lay_decisions_over(now: StoreNow, made: Decided) -> None:
    """Has `decisions` and `findings` of the store read as decided now, for the claims decided."""
    for name, frame in (("decisions", made.decisions), ("findings", made.findings)):
        now.con.register(f"{name}_now", frame)
        table, stored = identifier(name), identifier(f"{STORE}.main.{name}")
        overlay = identifier(f"{name}_now")
        now.con.execute(
            f"create or replace temp view {table} as select * from {stored} anti join {overlay} "
            f"using (claim) union all by name select * from {overlay}"
        )
