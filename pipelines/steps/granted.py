"""The table of rulings with what each grants, whether it stands and who approved it.

Belongs here: reading what that rests on, once everything is decided. Does not belong here: any
rule (`pipelines.coverage.ruling_grants`).
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.money import LINES
from pipelines.coverage.ruling_grants import with_grants
from pipelines.store.database import read_frame
from pipelines.store.transaction import RefreshSession
from schemas.codes import DESK_FILE
from schemas.feeds import GRANTS, Rulings, stored_schema

TABLE = "rulings"


def put_grants(session: RefreshSession) -> None:
    """Puts the rulings in their place once more, with GRANTS."""
    schema = stored_schema(TABLE)
    rulings = read_frame(session.con, TABLE, columns=schema.names(), schema=schema)
    names = [f"{line}_{kind}" for line in LINES for kind in ("if_covered", "payable")]
    decisions = read_frame(session.con, "decisions", columns=["claim", *names])
    approved = pl.DataFrame(
        [
            (DESK_FILE, one.event, one.approved_by)
            for one in session.inputs.recorded.rulings
            if one.approved_by is not None
        ],
        schema={"source_file": pl.String, "source_line": pl.Int64, "approved_by": pl.String},
        orient="row",
    )
    granted = with_grants(rulings, decisions, session.inputs.as_of).join(
        approved, on=["source_file", "source_line"], how="left", maintain_order="left"
    )
    session.put(session.write(TABLE, granted.select(*schema, *GRANTS), Rulings))
