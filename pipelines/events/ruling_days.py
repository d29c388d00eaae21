"""The days on which rulings were approved or withdrawn, since which what stands may hold.

Belongs here: these days out of rulings, as frames, and what a publication keeps of the desk. Does
not belong here: since when something stands (`pipelines.coverage.standing_since`).
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable
from zoneinfo import ZoneInfo

import polars as pl
import sqlalchemy as sa

from pipelines.coverage.evidence import APPROVALS, WITHDRAWALS
from pipelines.events.states import Ruling
from pipelines.events.tables import EVENTS

# What decides no table: who may sign in, and what a refresh did by itself.
_NOT_READ = "user"
_OF_A_REFRESH = "refresh"
Days = dict[str, pl.DataFrame]


def days_of(rulings: Iterable[Ruling], zone: ZoneInfo) -> Days:
    """`approvals` and `withdrawals` as `coverage.evidence.Evidence` has them.

    A ruling that waited until it was withdrawn stood for nothing, so its withdrawal ends nothing.

    Args:
        zone: of the workspace, in which `ruled_at` stands in the feed.
    """
    approved: dict[tuple[str, dt.datetime], dt.date] = {}
    withdrawn: dict[str, dt.date] = {}
    for one in rulings:
        at = one.local_moment(zone)
        if one.withdrawn_on is not None:
            if not one.needs_approval or one.approved_by is not None:
                last = withdrawn.get(one.claim, one.withdrawn_on)
                withdrawn[one.claim] = max(last, one.withdrawn_on)
        elif one.approved_on is not None and at is not None:
            approved[one.claim, at] = one.approved_on
    return {
        "approvals": pl.DataFrame(
            [(*key, day) for key, day in approved.items()], schema=APPROVALS, orient="row"
        ),
        "withdrawals": pl.DataFrame(list(withdrawn.items()), schema=WITHDRAWALS, orient="row"),
    }


def content_of(
    connection: sa.Connection, last: int, rulings: Iterable[Ruling], zone: ZoneInfo
) -> bytes | None:
    """The last event, up to `last`, that decides anything; its digest stands for all before it.

    Beside it the days that no row of a feed tells, from which the archive decides again.
    """
    columns = EVENTS.c
    last_event = connection.execute(
        sa.select(columns.event, columns.digest)
        .where(columns.event <= last, columns.kind != _NOT_READ, columns.via != _OF_A_REFRESH)
        .order_by(columns.event.desc())
        .limit(1)
    ).first()
    if last_event is None:
        return None
    days = {
        name: frame.cast(pl.String).sort(frame.columns).to_dicts()
        for name, frame in days_of(rulings, zone).items()
        if frame.height
    }
    return json.dumps({"event": last_event.event, "digest": last_event.digest, **days}).encode()


def read_days(content: bytes | None) -> Days:
    """The days in what a publication kept (`content_of`)."""
    days = json.loads(content) if content is not None else {}
    schemas = {"approvals": APPROVALS, "withdrawals": WITHDRAWALS}
    return {
        name: pl.DataFrame(
            days.get(name) or [], schema=dict.fromkeys(schema, pl.String)
        ).with_columns(_read(column, kind) for column, kind in schema.items())
        for name, schema in schemas.items()
    }


def _read(column: str, kind: pl.DataType) -> pl.Expr:
    text = pl.col(column)
    if isinstance(kind, pl.Date):
        return text.str.to_date()
    return text.str.to_datetime(time_unit="us") if isinstance(kind, pl.Datetime) else text
