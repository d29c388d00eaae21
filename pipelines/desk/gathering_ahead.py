"""Has claim pages gathered ahead, anew after each refresh, by a process of its own.

Belongs here: when that begins and ends. Does not belong here: gathering (`gathering_child`).
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing.connection import Connection

from pipelines.desk.ahead import Key
from pipelines.desk.site import DeskSite
from pipelines.errors import LimeledgerError
from pipelines.queries.decided_since import rests_on

CHILD = "pipelines.desk.gathering_child"
# Between two looks whether there is something new; a desk that ends at once gathers nothing.
SECONDS = 5.0
_ALONE = {"POLARS_MAX_THREADS": "1", "MALLOC_ARENA_MAX": "1"}


@contextmanager
def gathering_ahead(site: DeskSite, seconds: float = SECONDS) -> Iterator[None]:
    """Gathers for as long as the desk is served."""
    end = threading.Event()
    thread = threading.Thread(target=_keep_up, args=(site, end, seconds), daemon=True)
    thread.start()
    try:
        yield
    finally:
        end.set()
        thread.join()


def _keep_up(site: DeskSite, end: threading.Event, seconds: float) -> None:
    """Looks every few seconds, and gathers once for each publication, day and files laid in."""
    done: Key | None = None
    while not end.wait(seconds):
        key = _key(site)
        if key is not None and key != done:
            done = key
            _gather(site, key, end)


def _key(site: DeskSite) -> Key | None:
    """What pages rest on now; None where that cannot be told just now."""
    try:
        return rests_on(site.desk, site.day)
    except (LimeledgerError, OSError):
        return None


def _gather(site: DeskSite, key: Key, end: threading.Event) -> None:
    """Takes over what the child gathers, until it is done or that is out of date."""
    with _child(site) as connection:
        while not end.is_set() and _key(site) == key:
            if not connection.poll(1.0):
                continue
            try:
                of_key, pages = pickle.loads(connection.recv_bytes())
            except (EOFError, OSError):
                return
            if of_key == key:
                site.ahead.add(key, pages)


@contextmanager
def _child(site: DeskSite) -> Iterator[Connection]:
    reading, writing = os.pipe()
    arguments = [str(site.workspace.root), site.day.isoformat(), str(writing)]
    # The child finds the code where this process found it, and not in the folder it stands in.
    search_path = {"PYTHONPATH": os.pathsep.join(entry for entry in sys.path if entry)}
    connection = Connection(reading, writable=False)
    try:
        process = subprocess.Popen(
            [sys.executable, "-P", "-m", CHILD, *arguments],
            env={**os.environ, **_ALONE, **search_path},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            pass_fds=[writing],
        )
    finally:
        os.close(writing)
    try:
        yield connection
    finally:
        connection.close()
        process.kill()
        process.wait()
