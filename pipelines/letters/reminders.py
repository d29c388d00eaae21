"""Which requests for documents are to be repeated, and which reminders no longer matter.

Belongs here: reminders. Does not belong here: any other letter (`register`).
"""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipelines.coverage.calendar_days import add_days
from pipelines.letters.matters import SCHEMA, changed_states, latest_live, with_matter

# What a reminder does not take over from the request that it repeats.
_OF_ITS_OWN = ("sent_on", "sent_by", "sent_how", "subject", "sending_at", "message_id", "note")


def reminders_due(
    register: pl.DataFrame, matters: pl.DataFrame, as_of: dt.date, most: int
) -> pl.DataFrame:
    """A reminder of each request for documents that was sent, is past its day, and still asks."""
    numbered = with_matter(register)
    requests = (
        latest_live(numbered)
        .filter((pl.col("kind") == "documents") & (pl.col("state") == "sent"))
        .join(matters.select("matter", "within_days", now="basis"), on="matter")
        .filter(pl.col("basis") == pl.col("now"))
    )
    made = (
        register.filter((pl.col("kind") == "reminder") & (pl.col("state") != "overtaken"))
        .sort("entry")
        .group_by("reminds", maintain_order=True)
        .agg(
            made=pl.len(),
            last_state=pl.col("state").last(),
            last_due=pl.col("due_on").last(),
        )
    )
    waits_since = pl.coalesce("last_due", "due_on")
    return (
        requests.join(made, left_on="entry", right_on="reminds", how="left")
        .filter(
            (pl.col("made").fill_null(0) < most)
            & (pl.col("last_state").fill_null("sent") == "sent")
            & (waits_since < as_of)
        )
        .with_columns(
            kind=pl.lit("reminder"),
            state=pl.lit("to_send"),
            reminds="entry",
            replaces=pl.lit(None, pl.Int64),
            due_on=add_days(pl.lit(as_of), pl.col("within_days")),
            **{name: pl.lit(None, SCHEMA[name]) for name in _OF_ITS_OWN},
        )
        .select(name for name in SCHEMA if name not in ("entry", "as_of", "made_at"))
    )


def with_dropped_reminders(
    register: pl.DataFrame, matters: pl.DataFrame, states: pl.DataFrame
) -> pl.DataFrame:
    """`states`, with the reminders that are still to be sent of requests that no longer wait."""
    numbered = with_matter(register)
    waiting = (
        latest_live(numbered)
        .filter(pl.col("state") == "sent")
        .join(matters.select("matter", now="basis"), on="matter")
        .filter(pl.col("basis") == pl.col("now"))
    )
    dropped = (
        numbered.filter((pl.col("kind") == "reminder") & (pl.col("state") == "to_send"))
        .join(matters, on="matter", how="semi")
        .join(waiting, left_on="reminds", right_on="entry", how="anti")
    )
    return pl.concat([states, changed_states(dropped, "overtaken")]).unique("entry", keep="first")
