"""A day as a person types it, for an option or in the configuration of a run.

Belongs here: reading one. Does not belong here: the days of exports (`pipelines.records.dates`),
or which days a command takes.
"""

from __future__ import annotations

import datetime as dt

from pipelines.errors import UsageError
from pipelines.workspace.clock import FIRST_YEAR, LAST_YEAR


def typed_day(place: str, given: str) -> dt.date:
    """The day that a text says; `place` is where it was written.

    Raises:
        UsageError: it is no day from 1900 to 2199, or stands in another of ISO 8601's forms, such
            as 20260331 or 2026-W14-2.
    """
    try:
        day = dt.date.fromisoformat(given)
        if day.isoformat() != given or not FIRST_YEAR <= day.year <= LAST_YEAR:
            raise ValueError
    except ValueError:
        raise UsageError(
            f'{place} "{given}" is no date from the year {FIRST_YEAR} to {LAST_YEAR}; write it as '
            "YYYY-MM-DD, such as 2026-03-31."
        ) from None
    return day


def day_if_typed(place: str, given: str | None) -> dt.date | None:
    """The same; None where the option was not given."""
    return None if given is None else typed_day(place, given)
