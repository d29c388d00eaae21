"""What a ruling grants, whether its maker may, and whether a second person is asked.

Belongs here: the checks before a ruling is recorded. Does not belong here: recording it
(`pipelines.actions.rulings`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from pipelines.actions.caller import Caller
from pipelines.actions.values import moment, refuse, text, word
from pipelines.coverage.money import LINES
from pipelines.coverage.ruling_limits import granted_lines, limit_of
from pipelines.errors import Refused
from pipelines.events.database import Desk
from pipelines.workspace.clock import now
from pipelines.workspace.layout import SETTINGS_FILE
from schemas.codes import RULINGS


def ruling_payload(
    desk: Desk,
    caller: Caller,
    decision: Mapping[str, Any],
    ruling: str,
    reason: str,
    amounts: Mapping[str, Decimal | None],
    ruled_at: object,
) -> dict[str, Any]:
    """What the event of a ruling says, with what it grants; refuses what may not be.

    Args:
        decision: the claim's row of `decisions` as decided now.
    """
    ruling = word("ruling", ruling, RULINGS)
    reason = text("reason", reason)
    at = _when(desk, caller) if ruled_at in (None, "") else moment("ruled_at", ruled_at)
    if _day(at, desk) > caller.as_of:
        raise refuse("ruled_at", f"is after the desk's day, {caller.as_of}; correct it.")
    given = {line: amounts[f"{line}_amount"] for line in LINES}
    lines = granted_lines(ruling, given, decision)
    total = sum(lines.values(), Decimal(0))
    within_limit(desk, caller.name, total, "rule")
    above = desk.settings.second_person_above
    return {
        "ruling": ruling,
        "reason": reason,
        "ruled_by": caller.name,
        "ruled_at": at,
        **{name: None if value is None else f"{value:.2f}" for name, value in amounts.items()},
        "granted": {**{line: f"{lines[line]:.2f}" for line in LINES}, "total": f"{total:.2f}"},
        "needs_approval": above is not None and total > above,
    }


def _when(desk: Desk, caller: Caller) -> str:
    """The desk's day with the present time, in the workspace's time zone."""
    here = now().astimezone(desk.settings.zone)
    if here.date() != caller.as_of:
        here = dt.datetime.combine(caller.as_of, here.time()).replace(tzinfo=desk.settings.zone)
    return here.isoformat(timespec="seconds")


def _day(moment_given: str, desk: Desk) -> dt.date:
    """The day of a moment where the workspace is."""
    at = dt.datetime.fromisoformat(moment_given)
    return (at if at.tzinfo is None else at.astimezone(desk.settings.zone)).date()


def within_limit(desk: Desk, person: str, total: Decimal, verb: str) -> None:
    """Refuses what its maker may not grant, with 403."""
    limits, currency = desk.settings.ruling_limits, desk.settings.currency
    if limits is None:
        return
    most = limit_of(person, limits)
    if most is None:
        raise Refused(
            403,
            f'"{person}" may not {verb}: {SETTINGS_FILE} names who may under [rulings] limits. '
            "Nothing was recorded; let one of them do it, or add the name there.",
        )
    if total > most:
        raise Refused(
            403,
            f'"{person}" may {verb} up to {most:,.2f} {currency}, and this ruling grants '
            f"{total:,.2f} in all ([rulings] limits in {SETTINGS_FILE}). Nothing was recorded; "
            "let someone with a higher limit do it, or grant less by line.",
        )
