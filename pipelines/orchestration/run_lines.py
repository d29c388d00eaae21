"""What the log of runs says of one that Dagster starts: what it was asked for, and by whom.

Belongs here: reading a Dagster run. Does not belong here: the log (`pipelines.store.run_log`), or
who is told of a failure (`failures`).
"""

from __future__ import annotations

from collections.abc import Collection

import dagster as dg

from pipelines.store.run_log import ALL, By, Run

AS_OF_TAG = "limeledger/as_of"
_BY: dict[str, By] = {"dagster/schedule_name": "schedule", "dagster/sensor_name": "sensor"}


def run_of(run: dg.DagsterRun, as_of: str | None, assets: Collection[str] = ()) -> Run:
    """The run as the log knows it.

    `assets` are the names of all assets that there are, so that a selection of each of them counts
    as the whole; without them only a run without a selection does.
    """
    names = sorted(key.to_user_string() for key in run.asset_selection or ())
    is_whole = not names or (bool(assets) and set(assets) <= set(names))
    by = next((word for tag, word in _BY.items() if tag in run.tags), "dagster")
    return Run(run.run_id, as_of or run.tags.get(AS_OF_TAG), ALL if is_whole else names, by)
