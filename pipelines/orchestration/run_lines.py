"""What the log of runs says of one that Dagster starts: what it was asked for, and by whom.

Belongs here: reading a Dagster run and its session. Does not belong here: the log
(`pipelines.store.run_log`), or who is told of a failure (`failures`).
"""

from __future__ import annotations

from collections.abc import Collection

import dagster as dg

from pipelines.nightly.recorded_run import ended_by
from pipelines.store.run_log import ALL, By, Ended, Run
from pipelines.store.transaction import RefreshSession

AS_OF_TAG = "limeledger/as_of"
_BY: dict[str, By] = {"dagster/schedule_name": "schedule", "dagster/sensor_name": "sensor"}


def run_of(run: dg.DagsterRun, as_of: str | None, assets: Collection[str] = ()) -> Run:
    """The run as the log knows it.

    `assets` are the names of all assets that there are, so that a selection of each of them counts
    as the whole; without them only a run without a selection does.
    """
    names = sorted(key.to_user_string() for key in run.asset_selection or ())
    is_whole = not names or (bool(assets) and set(assets) <= set(names))
    by: By = next((word for tag, word in _BY.items() if tag in run.tags), "dagster")
    return Run(run.run_id, as_of or run.tags.get(AS_OF_TAG), ALL if is_whole else names, by)


def end_of(session: RefreshSession) -> Ended:
    """How a run ended whose steps Dagster has executed: by its first failure, else done."""
    if session.failure is not None:
        return ended_by(session.failure, session.inputs.workspace)
    day = session.inputs.as_of
    if session.committed:
        return Ended("done", 0, f"Published as of {day}.")
    return Ended("done", 0, f"Made what was selected, as of {day}; nothing was published.")
