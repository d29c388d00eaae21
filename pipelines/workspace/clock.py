"""What time it is: the machine's clock, or the moment that the environment gives instead.

Belongs here: the one place that asks. Does not belong here: which day that is in a workspace
(`pipelines.workspace.settings.today`), or how long something took (`time.monotonic`).

`LIMELEDGER_NOW` stands still: tests and a past that is replayed get the same answer throughout.
"""

from __future__ import annotations

import datetime as dt
import os
import re
from typing import Literal

from pipelines.errors import UsageError

VARIABLE = "LIMELEDGER_NOW"
FIRST_YEAR, LAST_YEAR = 1900, 2199  # the days that exports may have
_DATE_AND_TIME = re.compile(r"[0-9W-]+[Tt ][0-9:.,]+(?:[Zz]|[+-][0-9:]+)")


def now() -> dt.datetime:
    """The present moment, aware, in UTC.

    Raises:
        UsageError: the environment gives a moment that is none.
    """
    given = os.environ.get(VARIABLE)
    return dt.datetime.now(dt.UTC) if given is None else _moment(given)


def clock() -> Literal["given", "system"]:
    """Where `now` comes from: given by the environment, or the system's own clock."""
    return "system" if os.environ.get(VARIABLE) is None else "given"


def stamp() -> str:
    """`now` as files hold it: ISO 8601 in UTC, to the second."""
    return now().isoformat(timespec="seconds")


def _moment(given: str) -> dt.datetime:
    try:
        if not _DATE_AND_TIME.fullmatch(given):
            raise ValueError
        moment = dt.datetime.fromisoformat(given.upper()).astimezone(dt.UTC)
        if not FIRST_YEAR <= moment.year <= LAST_YEAR:
            raise ValueError
    except (ValueError, OverflowError):
        raise UsageError(
            f'{VARIABLE} is "{given}", which is no moment from the year {FIRST_YEAR} to '
            f"{LAST_YEAR} in ISO 8601 with its offset; write it as 2026-03-31T02:15:00+00:00, or "
            "take the variable out of the environment."
        ) from None
    return moment
