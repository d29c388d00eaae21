"""A unit's life by day, and what happened first within one."""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipelines.queries.unit_life import in_order
from schemas.views import EVENT_WORDS


def test_events_of_one_day_stand_as_they_happen() -> None:
    """A repair fails, is called for and completed; a unit is installed before it is started up."""
    day = dt.date(2025, 2, 2)
    told = ["call completed", "startup completed", "claimed", "failed", "installed", "call opened"]
    events = pl.DataFrame(
        {
            "day": [day] * 6 + [dt.date(2025, 2, 1)],
            "event": [*told, "retired"],
            "feed": "service_calls",
            "key": "C1",
        }
    )
    assert in_order(events)["event"].to_list() == [
        "retired",
        "installed",
        "startup completed",
        "failed",
        "call opened",
        "call completed",
        "claimed",
    ]


def test_every_event_has_its_place() -> None:
    """A word that the views tell and nobody put in order would stop the command."""
    events = pl.DataFrame({"event": EVENT_WORDS}).with_columns(
        day=pl.lit(dt.date(2025, 2, 2)), feed=pl.lit("units"), key=pl.lit("U1")
    )
    assert sorted(in_order(events)["event"]) == sorted(EVENT_WORDS)
