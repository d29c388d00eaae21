"""A day of the past, as a person gives it.

Belongs here: reading it. Does not belong here: what was published by then.
"""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from pipelines.errors import LimeledgerError, UsageError
from pipelines.workspace import clock
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import load_settings
from pipelines.workspace.typed_days import typed_day


def past_day(option: str, given: str, workspace: Workspace) -> dt.date:
    """The day, which is one from the year 1900 to today in the workspace's time zone.

    Raises:
        UsageError: it is no day, or is still to come.
    """
    day = typed_day(option, given)
    # A day that begins somewhere else sooner is no fault of who asks here: the workspace's counts.
    today = clock.now().astimezone(_zone(workspace)).date()
    if day > today:
        raise UsageError(f"{option} {day} is still to come; today is {today}.")
    return day


def _zone(workspace: Workspace) -> dt.tzinfo:
    """The workspace's zone; the one farthest ahead where its settings cannot be read now."""
    try:
        return load_settings(workspace).zone
    except LimeledgerError:
        return ZoneInfo("Pacific/Kiritimati")
