"""Closing a month: its figures are frozen, and what changes later is told as an adjustment.

Belongs here: when a month may be closed, and by whom. Does not belong here: the figures
(`pipelines.queries.months`).
"""

from __future__ import annotations

import sqlalchemy as sa

from pipelines.actions.acting import Answer, act
from pipelines.actions.caller import Caller
from pipelines.actions.values import text
from pipelines.errors import Refused, UsageError
from pipelines.events import Desk
from pipelines.months.calendar import Month
from pipelines.queries.months import CLOSING, MonthEnd, month_end, month_of, written_rows
from pipelines.workspace.layout import Workspace


def close_month(
    desk: Desk, workspace: Workspace, caller: Caller, *, month: str, note: str | None = None
) -> Answer:
    """Freezes the rows of a month; never undone.

    Returns:
        event, and what is told of the closed month.

    Raises:
        Refused: 403, only a lead closes; 404, it is no month; 409, the month is not over, not
            refreshed to its end, closed already, or an earlier one is open since the first closing.
    """
    caller.require("close")
    try:
        wanted = month_of(month)
    except UsageError as error:
        raise Refused(404, str(error)) from None
    said = text("note", note) if note else None

    def do(connection: sa.Connection) -> int:
        statement = month_end(desk, wanted)
        _none_in_the_way(statement, caller)
        frozen = statement.rows.with_columns(state=statement.rows["state"].replace("now", "frozen"))
        payload = {"month": str(wanted), "as_of": statement.as_of.isoformat(), "by": caller.name}
        payload |= {"note": said} if said else {}
        return desk.append(
            connection,
            caller.event(
                CLOSING,
                subject=f"month {wanted}",
                payload={**payload, "rows": written_rows(frozen)},
            ),
        )

    return act(
        desk, caller, do, lambda made: {"event": made.event, **month_end(desk, wanted).to_dict()}
    )


def _none_in_the_way(statement: MonthEnd, caller: Caller) -> None:
    month, end = statement.month, statement.month.last
    if statement.closed is not None:
        why = f"{month} was closed by {statement.closed.by} already"
    elif caller.as_of <= end:
        why = f"{month} is not over: the desk's day is {caller.as_of}"
    elif statement.as_of < end:
        why = f"the last refresh is as of {statement.as_of}, before {end}; refresh first"
    elif open_before := _open_before(statement):
        why = f"{open_before} is still open; close it first"
    else:
        return
    raise Refused(409, f"Nothing was closed, since {why}.")


def _open_before(statement: MonthEnd) -> Month | None:
    """The first month between the first closing and this one that is open."""
    closed = [one.month for one in statement.closings]
    if not closed:
        return None
    month = closed[0].after
    while month < statement.month:
        if month not in closed:
            return month
        month = month.after
    return None
