"""The bundle of frames that decisions and histories look at, read from the store.

Belongs here: reading records and through dates. Does not belong here: what follows from them.
"""

from __future__ import annotations

import duckdb
import polars as pl

from pipelines.coverage.evidence import Evidence
from pipelines.refresh.inputs import Inputs
from pipelines.warehouse.database import read_frame
from schemas.codes import FEEDS, REFERENCES
from schemas.feeds import record_schema


def load_evidence(inputs: Inputs, con: duckdb.DuckDBPyConnection) -> Evidence:
    """All records of the store with the checked reference files, as of the as-of date."""
    states = read_frame(con, "feed_states", columns=["feed", "through_date"])
    return Evidence(
        **{feed: records(con, feed) for feed in FEEDS},
        **{name: getattr(inputs.reference, name) for name in REFERENCES},
        through=dict(states.iter_rows()),
        as_of=inputs.as_of,
    )


def records(con: duckdb.DuckDBPyConnection, feed: str) -> pl.DataFrame:
    """The records of one feed."""
    return read_frame(con, feed, schema=record_schema(feed))
