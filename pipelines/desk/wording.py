"""Events of the desk in plain words.

Belongs here: what the words need of an event. Does not belong here: the words themselves, which the
published pages share (`dashboards.desk_words`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

from dashboards.desk_words import local, said
from pipelines.events.event import Recorded


def event_said(event: Recorded) -> str:
    """What was done, without who and when."""
    return said(event.kind, event.subject, event.payload)


def since_said(events: list[Mapping[str, Any]], zone: ZoneInfo) -> list[str]:
    """The events that came between, as a conflict tells them."""
    return [
        f"{local(one['at'], zone)}, {one['actor']}: "
        f"{said(one['kind'], one.get('subject'), one.get('payload') or {})}"
        for one in events
    ]
