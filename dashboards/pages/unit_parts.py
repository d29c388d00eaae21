"""The life of a unit by itself on one line, apart from any claim.

Belongs here: which event stands on which line. Does not belong here: the line's form, which a
claim's page shares (`claim_parts`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any

from dashboards import formats
from dashboards.pages.claim_parts import COVER, drawn_line, moment, span

# Event of a unit (`unit_events`) -> kind of event above; what is of a claim alone is left out.
_KINDS = {
    "shipped": "shipped",
    "purchased": "purchased",
    "installed": "installed",
    "retired": "retired",
    "startup requested": "start-up requested",
    "startup completed": "start-up completed",
    "treatment ordered": "treatment bought",
    "treatment installed": "treatment fitted",
    "water sampled": "water test",
    "call opened": "inspection",
    "failed": "repair",
}


def unit_line(
    cover: tuple[dt.date | None, dt.date | None], events: Iterable[Mapping[str, Any]]
) -> dict[str, Any] | None:
    """Chart rows, table rows and legend of a unit's life: its cover, and its dated events.

    Args:
        cover: the day on which the clock starts, and the end of the longest window.
        events: day, event, feed, key (`unit_events`).
    """
    start, end = cover
    stretches = [span(COVER, "base cover", "Cover", start, end)] if start and end else []
    moments = [
        moment({"kind": _KINDS[row["event"]], "on": row["day"], "label": _label(row)})
        for row in events
        if row["event"] in _KINDS
    ]
    return drawn_line(stretches, moments, [], "")


def _label(row: Mapping[str, Any]) -> str:
    feed = formats.FEEDS.get(row["feed"], row["feed"]).lower()
    said = row["event"].replace("startup", "start-up")
    return f"{said[0].upper()}{said[1:]} ({feed} {row['key']})."
