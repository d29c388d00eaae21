"""Works on parts with a Ray cluster: puts them into the storage, asks, and reads what came out.

Belongs here: the order of the work, and the sentences for what is lost. Does not belong here: what
speaks to the cluster (`ray_process`), the form of the storage (`part_storage`).
"""

from __future__ import annotations

import json
import os
import selectors
import socket
import subprocess
import sys
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any, TextIO
from urllib.parse import urlsplit

import polars as pl

from pipelines.engine.ground import Frames, Ground
from pipelines.engine.part_storage import PartStorage
from pipelines.engine.task import Task, task_of
from pipelines.errors import EngineError
from pipelines.workspace.layout import ENGINE_LOG, PARTS, Workspace
from pipelines.workspace.settings import Settings

AFTERWARDS = "Store and pages are as they were, and finished parts are not done again."
START_SECONDS = 300.0  # a busy machine starts a cluster slowly
_REACH_SECONDS, _END_SECONDS = 5.0, 20.0
_ROOT = Path(__file__).parents[2]


class RayEngine:
    """Works on parts with a cluster, which is not spoken to before there is a part to work on."""

    def __init__(
        self, workspace: Workspace, settings: Settings, tool: str, progress: Callable[[str], None]
    ) -> None:
        self._address = settings.engine.address
        self._url = settings.storage.url or str((workspace.store / PARTS).absolute())
        self._endpoint = settings.storage.endpoint
        self._log = workspace.store / ENGINE_LOG
        self._tool = tool
        self._progress = progress
        self._storage: PartStorage | None = None
        self._cluster: _Cluster | None = None
        self._used: set[str] = set()

    def run(
        self, work: str, ground: Ground, parts: Iterable[Frames]
    ) -> Iterator[dict[str, pl.DataFrame]]:
        """What the work makes of each part, in their order; so many at a time as there are
        processors.

        Raises:
            EngineError: the cluster or the storage cannot be reached, or was lost.
        """
        if self._storage is None:
            self._storage = PartStorage(self._url, self._endpoint)
        storage = self._storage
        names = {name: storage.put_frame(frame) for name, frame in ground.frames.items()}
        self._used.update(names.values())
        waiting: deque[Task] = deque()
        submitted = there = 0
        for frames in parts:
            task = task_of(work, self._tool, ground, names, frames, storage)
            self._used.update([task.result, *task.frames.values()])
            if storage.has_result(task.result):
                there += 1
            else:
                submitted += 1
                self._joined().submit(task)
            waiting.append(task)
            while len(waiting) > 2 * (self._cluster.cpus if self._cluster else 1):
                yield self._made(waiting.popleft(), storage)
        while waiting:
            yield self._made(waiting.popleft(), storage)
        if there:
            self._progress(f"  {there} of {there + submitted} parts were worked on before")

    def _made(self, task: Task, storage: PartStorage) -> dict[str, pl.DataFrame]:
        if self._cluster is not None:
            self._cluster.wait_for(task)
        tables = storage.result(task.result)
        self._used.update(tables.values())
        return {table: storage.frame(name) for table, name in tables.items()}

    def _joined(self) -> _Cluster:
        if self._cluster is None:
            self._cluster = _Cluster(self._address, self._log)
        return self._cluster

    def published(self) -> None:
        """Removes from the storage what no run has used for days."""
        if self._storage is not None and self._used:
            try:
                self._storage.forget_old(self._used)
            except EngineError as error:
                self._progress(f"Old parts could not be removed: {error}")

    def close(self) -> None:
        """Leaves the cluster; one of our own ends."""
        if self._cluster is not None:
            self._cluster.close()
            self._cluster = None


class _Cluster:
    """The process that speaks to the cluster, and what it has told."""

    def __init__(self, address: str, log: Path) -> None:
        self.name = f"The cluster {address}" if address else "The cluster of this machine"
        self._ended: dict[str, dict[str, Any]] = {}
        self._asked: set[str] = set()
        self._refuse_out_of_reach(address)
        log.parent.mkdir(exist_ok=True)
        answers, write_end = os.pipe()
        with log.open("w", encoding="utf-8") as output:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "pipelines.engine.ray_process", address, str(write_end)],
                stdin=subprocess.PIPE,
                stdout=output,
                stderr=output,
                pass_fds=(write_end,),
                start_new_session=True,  # a stop by hand is told to it, not sent
                env={**os.environ, "PYTHONPATH": _python_path()},
                text=True,
            )
        os.close(write_end)
        self._answers = os.fdopen(answers, encoding="utf-8", buffering=1)
        self._log = log
        try:
            ready = self._next(time.monotonic() + START_SECONDS)
            if ready["event"] != "ready":
                raise self._unreachable(ready.get("sentence", ""))
        except BaseException:
            self.close()
            raise
        self.cpus = int(ready["cpus"])

    def _refuse_out_of_reach(self, address: str) -> None:
        """Raises EngineError where nothing answers at an address; Ray itself tries for minutes."""
        if address in ("", "auto"):
            return
        place = urlsplit(address if "://" in address else f"//{address}")
        try:
            with socket.create_connection((place.hostname, place.port), _REACH_SECONDS):
                pass
        except OSError as error:
            raise self._unreachable(error.strerror or str(error)) from error

    def _unreachable(self, why: str) -> EngineError:
        return EngineError(
            f"{self.name} cannot be reached ({why or 'it does not answer'}). Check engine.address "
            f"in limeledger.toml and that it runs, then refresh again. {AFTERWARDS}"
        )

    def submit(self, task: Task) -> None:
        """Asks for a part, unless it is being worked on."""
        if task.result in self._asked and task.result not in self._ended:
            return
        self._asked.add(task.result)
        self._ended.pop(task.result, None)
        stdin = self._process.stdin
        assert stdin is not None
        try:
            stdin.write(json.dumps(asdict(task)) + "\n")
            stdin.flush()
        except OSError as error:
            raise self._lost("") from error

    def wait_for(self, task: Task) -> None:
        """Waits until a part that was asked for is worked on.

        Raises:
            EngineError: the cluster was lost, or a worker could not reach the storage.
            RuntimeError: a fault of the tool itself.
        """
        while task.result in self._asked and task.result not in self._ended:
            event = self._next(None)
            self._ended[event["result"]] = event
        event = self._ended.get(task.result, {"event": "done"})
        if event["event"] == "failed":
            raise EngineError(event["sentence"])
        if event["event"] == "lost":
            raise self._lost(event["sentence"])
        if event["event"] == "fault":
            raise RuntimeError(f"{task.work}: {event['sentence']}")

    def _next(self, until: float | None) -> dict[str, Any]:
        """The next line; raises EngineError where the process ended, or is silent for too long."""
        if until is not None and not _is_readable(self._answers, until - time.monotonic()):
            raise self._unreachable(f"no answer within {START_SECONDS:.0f} s")
        line = self._answers.readline()
        if not line:
            raise self._lost("")
        event: dict[str, Any] = json.loads(line)
        return event

    def _lost(self, why: str) -> EngineError:
        return EngineError(
            f"{self.name} was lost while parts were worked on"
            f"{f' ({why})' if why else ''}; {self._log} has more. Refresh again once it is there. "
            f"{AFTERWARDS}"
        )

    def close(self) -> None:
        """Ends the process, which lets go of the cluster."""
        try:
            if self._process.stdin is not None:
                self._process.stdin.close()
        except OSError:
            pass
        try:
            self._process.wait(_END_SECONDS)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._answers.close()


def _is_readable(stream: TextIO, seconds: float) -> bool:
    with selectors.DefaultSelector() as selector:
        selector.register(stream, selectors.EVENT_READ)
        return bool(selector.select(max(0.0, seconds)))


def _python_path() -> str:
    """Where this process and the workers of a cluster of our own find our source."""
    return os.pathsep.join(filter(None, [str(_ROOT), os.environ.get("PYTHONPATH", "")]))
