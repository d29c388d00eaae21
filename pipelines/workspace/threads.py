"""How many threads polars and DuckDB have, by how much there is to read.

Belongs here: the rule, and settling it before polars is imported, which then looks once. Does not
belong here: threads of our own.

Expressions on frames of a few thousand rows are over before a second thread has woken: waiting for
each other costs more than they save.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from pipelines.errors import WorkspaceError
from pipelines.workspace.layout import find

POLARS_THREADS = "POLARS_MAX_THREADS"  # polars' own variable; DuckDB follows (`store.database`)
# Exports of fewer bytes are read and decided by one thread; measured in DEVELOPERS.md, "Speed".
ONE_THREAD_BELOW_BYTES = 20_000_000


def settle_threads(workspace: Path | None) -> None:
    """One thread where little is to be read; else, and where the user says how many, as it is.

    Without a workspace, or where its exports cannot be looked through, nothing much is read. What
    this process starts has as many threads: Dagster's processes keep them for as long as they run.
    What is no number of threads says nothing: polars does not start with 0, and warns of others.
    """
    said = os.environ.get(POLARS_THREADS, "")
    if not (said.isdecimal() and int(said) > 0):
        os.environ.pop(POLARS_THREADS, None)
    if POLARS_THREADS not in os.environ and not _is_much(workspace):
        os.environ[POLARS_THREADS] = "1"


def _is_much(workspace: Path | None) -> bool:
    """Whether the exports come to ONE_THREAD_BELOW_BYTES; looks at no more files than it needs."""
    left = ONE_THREAD_BELOW_BYTES
    for size in _export_sizes(workspace) if workspace is not None else ():
        left -= size
        if left <= 0:
            return True
    return False


def _export_sizes(workspace: Path) -> Iterator[int]:
    """The bytes of each export; of one that is gone or may not be looked at, none."""
    try:
        exports = find(workspace, "exports")
    except WorkspaceError:
        return  # which the command itself will say
    for place, _, names in os.walk(exports):
        for name in names:
            try:
                yield os.stat(os.path.join(place, name)).st_size
            except OSError:
                yield 0
