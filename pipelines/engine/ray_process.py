"""The process that speaks to a Ray cluster: tasks come in, what became of them goes out.

Belongs here: all that knows Ray. Does not belong here: what a task is (`task`), or the refresh that
asks (`ray_engine`). It is a process of its own because Ray ends the process that has lost its
cluster.
"""

from __future__ import annotations

import json
import os
import secrets
import sys
import threading
from collections.abc import Callable
from queue import Empty, SimpleQueue
from typing import Any, TextIO

from pipelines.engine.task import Task, work_on
from pipelines.errors import EngineError

RETRIES = 5  # so often a part is begun again whose worker or machine is lost
MEMORY_OF_A_PART = 2_684_354_560  # 2.5 GiB: so many parts at a time as a machine has memory for
_OBJECT_STORE = 128 * 1024 * 1024  # nothing but the tasks themselves goes through it
_LOOK_AGAIN_SECONDS = 0.2


def main(address: str, answers: int) -> None:
    """Takes tasks from stdin until it ends, and writes to the file descriptor `answers`."""
    with os.fdopen(answers, "w", encoding="utf-8", buffering=1) as out:
        try:
            cluster = _Cluster(address)
        except Exception as error:
            _tell(out, "unreachable", sentence=_first_line(error))
            return
        _tell(out, "ready", cpus=cluster.cpus)
        tasks: SimpleQueue[str | None] = SimpleQueue()
        threading.Thread(target=_read, args=(tasks.put,), daemon=True).start()
        _work(cluster, tasks, out)
        cluster.close()


def _read(put: Callable[[str | None], None]) -> None:
    for line in sys.stdin:
        put(line)
    put(None)


def _work(cluster: _Cluster, tasks: SimpleQueue[str | None], out: TextIO) -> None:
    while True:
        try:
            line = tasks.get(block=not cluster.running, timeout=None)
        except Empty:
            line = ""
        if line is None:
            return
        if line:
            cluster.submit(Task(**json.loads(line)))
        for result, error in cluster.ended():
            if error is None:
                _tell(out, "done", result=result)
            else:
                _tell(out, error[0], result=result, sentence=error[1])


class _Cluster:
    """Own one on this machine, or one that is joined by address."""

    def __init__(self, address: str) -> None:
        os.environ["RAY_USAGE_STATS_ENABLED"] = "0"
        os.environ.setdefault("RAY_gcs_rpc_server_reconnect_timeout_s", "30")
        if not address:
            # Whoever is on this machine may not use it; nothing is left in anybody's home.
            os.environ.setdefault("RAY_AUTH_TOKEN", secrets.token_hex(32))
        import ray

        self._ray: Any = ray  # of which what it gives has no types
        own = {"include_dashboard": False, "object_store_memory": _OBJECT_STORE}
        self._ray.init(
            address=address or "local",
            log_to_driver=False,
            logging_level="ERROR",
            **({} if address else own),
        )
        nodes = [node["Resources"] for node in self._ray.nodes() if node["Alive"]]
        self.cpus = max(1, int(sum(node.get("CPU", 0) for node in nodes)))
        memory = min([MEMORY_OF_A_PART, *(int(node.get("memory", 0)) for node in nodes)])
        # One thread a part: as many parts as there are processors run at a time.
        self._work_on = self._ray.remote(
            num_cpus=1,
            memory=memory,
            max_calls=1,  # a process a part: what it took goes back
            max_retries=RETRIES,
            runtime_env={"env_vars": {"POLARS_MAX_THREADS": "1"}},
        )(work_on)
        self.running: dict[Any, str] = {}

    def submit(self, task: Task) -> None:
        self.running[self._work_on.remote(task)] = task.result

    def ended(self) -> list[tuple[str, tuple[str, str] | None]]:
        """The results that are there now, each with what failed in it."""
        if not self.running:
            return []
        done, _ = self._ray.wait(list(self.running), num_returns=1, timeout=_LOOK_AGAIN_SECONDS)
        return [(self.running.pop(reference), self._fault(reference)) for reference in done]

    def _fault(self, reference: Any) -> tuple[str, str] | None:
        try:
            self._ray.get(reference)
        except self._ray.exceptions.RayTaskError as error:
            cause = error.cause
            if isinstance(cause, EngineError):
                return "failed", str(cause)
            return "fault", str(error)
        except self._ray.exceptions.RayError as error:
            return "lost", _first_line(error)
        return None

    def close(self) -> None:
        self._ray.shutdown()


def _tell(out: TextIO, event: str, **facts: Any) -> None:
    out.write(json.dumps({"event": event, **facts}) + "\n")


def _first_line(error: BaseException) -> str:
    lines = str(error).strip().splitlines()
    return lines[0].strip()[:300] if lines else type(error).__name__


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
