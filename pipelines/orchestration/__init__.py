"""Dagster's side of the product: assets, checks, the job, its schedule and its sensor.

Belongs here: thin wiring, three moves an asset: take from the session, call, write. Does not
belong here: anything that computes.
"""

import os
from pathlib import Path

from pipelines.workspace.threads import settle_threads

if (_workspace := os.environ.get("LIMELEDGER_WORKSPACE")) is not None:
    settle_threads(Path(_workspace))  # before a module of this room imports polars
