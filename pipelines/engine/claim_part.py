"""The claims of one part decided, and what is to be added to their history.

Belongs here: the order of the work, slice by slice. Does not belong here: any rule.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import fields

import polars as pl

from pipelines.coverage import decide
from pipelines.coverage.history import Grounds, changes
from pipelines.engine.ground import DECIDING, RULING_DAYS, Frames, Ground, split
from pipelines.engine.groups import in_slices

# Claims decided at a time: what stands in memory is their findings.
SLICE_CLAIMS = 50_000
# The tables, each with its order.
CLAIM_TABLES = {
    "findings": ("claim", "position"),
    "decisions": ("claim",),
    "decision_history": ("claim",),
}
# When and by which publication a claim is decided is no matter of the part: it is put in later.
LATER = ("decided_at", *(field.name for field in fields(Grounds)))
_NEVER = dt.datetime(1970, 1, 1)


def claim_part(ground: Ground, frames: Frames) -> dict[str, pl.DataFrame]:
    """Findings, decisions, and the rows to be added to the history, without what is put in LATER.

    Args:
        frames: the records that bear on the claims, by DECIDING; `claims` (claim, serial) to be
            decided; `suggestions` for their serials; of RULING_DAYS those of the claims; under
            `last_` and its name what each table of CLAIM_TABLES held of them.
    """
    records = {feed: frames[feed] for feed in DECIDING}
    slices = in_slices(frames["claims"].height, SLICE_CLAIMS)
    made = [_decided(ground, some, frames) for some in split(records, slices)]
    return {
        name: pl.concat(tables[name] for tables in made).sort(order, maintain_order=True)
        for name, order in CLAIM_TABLES.items()
    }


def _decided(ground: Ground, records: Frames, frames: Frames) -> dict[str, pl.DataFrame]:
    calls = records["service_calls"].select("claim").drop_nulls().unique()
    claims = frames["claims"].join(calls, on="claim", how="semi")
    last = {
        name: frames[f"last_{name}"].join(claims, on="claim", how="semi", maintain_order="left")
        for name in CLAIM_TABLES
    }
    evidence = ground.evidence({**records, **{name: frames[name] for name in RULING_DAYS}})
    decided = decide(
        evidence,
        ground.terms,
        last["decision_history"],
        ground.values.timezone,
        only=claims.select("claim"),
        suggestions=frames["suggestions"],
        ruling_limits=ground.ruling_limits,
    )
    moved = changes(
        last["decisions"],
        last["findings"],
        decided.decisions,
        decided.findings,
        evidence,
        _NEVER,
        Grounds(),
    )
    return {
        "findings": decided.findings,
        "decisions": decided.decisions,
        "decision_history": moved.drop(LATER),
    }
