"""What the store told of itself when a refresh began.

Belongs here: its facts and through dates. Does not belong here: what follows from them
(`pipelines.store.invalidation`).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import duckdb

from pipelines.store.database import has_table, read_frame
from pipelines.store.inputs import Inputs
from pipelines.store.tool import source_hash

TOUCHED = "touched"  # stands in the working copy alone, from the reading on


@dataclass(frozen=True)
class LastRefresh:
    """What the store told of itself when this refresh began."""

    facts: dict[str, str]
    through: dict[str, dt.date | None]

    @classmethod
    def of(cls, con: duckdb.DuckDBPyConnection) -> LastRefresh:
        """Of the working copy, before anything is written to it."""
        if not (has_table(con, "store_facts") and has_table(con, "feed_states")):
            return cls({}, {})
        states = read_frame(con, "feed_states", columns=["feed", "through_date"])
        return cls(dict(read_frame(con, "store_facts").iter_rows()), dict(states.iter_rows()))

    def can_stand(self, inputs: Inputs) -> bool:
        """Whether any decision can stand: same code and inputs, and no step back in time."""
        return (
            self.facts.get("inputs") == inputs.fingerprint
            and self.facts.get("tool") == source_hash()
            and dt.date.fromisoformat(self.facts["as_of"]) <= inputs.as_of
        )
