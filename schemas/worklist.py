"""The worklist: its groups, what it tells beside a decision, and what people did on the desk.

Belongs here: the shapes. Does not belong here: which claim stands where (`pipelines.worklist`), or
how rows are drawn.
"""

from __future__ import annotations

from typing import Any

import polars as pl

from schemas.columns import CENTS, TEXTS

# In the order of the list; what each holds, in words.
GROUPS = {
    "person": "Need a person’s decision",
    "filing": "Filing limit still ahead",
    "one_document": "One document short",
    "documents": "Several documents short",
    "duplicates": "Claimed before",
    "settled_either_way": "Not covered either way",
}
# Of a duplicate, the claim that comes first: what was credited for it, and whether the amounts
# claimed are the same line by line.
_ORIGINAL: dict[str, Any] = {
    "claim": pl.String,
    "standing": pl.String,
    "credited": CENTS,
    "last_credited_on": pl.Date,
    "equal": pl.Boolean,
}
ORIGINAL = tuple(_ORIGINAL)
# One row is one claim on which people did something beside ruling: an open appeal, a ruling that
# waits for a second person, to whom it is assigned, until when it is held. A ruling of a day after
# `appeal_day` settles the appeal, also one that an export brought.
DESK = pl.Schema(
    {
        "claim": pl.String(),
        "assigned_to": pl.String(),
        "hold_until": pl.Date(),
        "appealed_on": pl.Date(),
        "appeal_reason": pl.String(),
        "appeal_day": pl.Date(),
        "waiting_event": pl.Int64(),
        "waiting_by": pl.String(),
    }
)
# What a row of the list has beside the columns of `decisions`.
ADDED: dict[str, Any] = {
    **{name: kind for name, kind in DESK.items() if name != "claim"},
    "lead_sentence": pl.String(),
    "original": pl.Struct(_ORIGINAL),
    "open": pl.Boolean(),
    "at_stake": CENTS,
    "age_days": pl.Int64(),
    "days_left": pl.Int64(),
    "overdue": pl.Boolean(),
    "held": pl.Boolean(),
    "documents": TEXTS,
    "group": pl.String(),
    "reason": pl.String(),
    "why": pl.String(),
}
# One row is one step that is open for a claim, in words and as a command to copy, in their order.
NEXT_STEPS = pl.Schema(
    {"claim": pl.String(), "action": pl.String(), "label": pl.String(), "command": pl.String()}
)
# One row is one thing that somebody did at the desk since the last refresh, the newest first.
DESK_EVENTS = pl.Schema(
    {
        "event": pl.Int64(),
        "at": pl.String(),
        "actor": pl.String(),
        "claim": pl.String(),
        "said": pl.String(),
    }
)
STALE_CORRECTIONS = pl.Schema(
    {"correction": pl.Int64(), "claim": pl.String(), "sentence": pl.String()}
)
# One row is one row set aside for which the desk's record of that number is there.
SETTLED_ROWS = pl.Schema(
    {"feed": pl.String(), "file": pl.String(), "line": pl.Int64(), "record": pl.Int64()}
)
