"""One part as a task that any machine can take: names of frames in, names of frames out.

Belongs here: the task, its name, and doing it. Does not belong here: the cluster that hands tasks
to machines (`ray_process`).
"""

from __future__ import annotations

import hashlib
import json
import socket
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import polars as pl

from pipelines.engine.ground import Frames, Ground
from pipelines.engine.part_storage import PartStorage
from pipelines.engine.works import WORKS
from pipelines.errors import EngineError
from pipelines.workspace.tool import source_hash


@dataclass(frozen=True)
class Task:
    """What is to be worked out, of which frames (by name, the names in the storage), and where.

    `tool` stands for the source of the tool that asks: a worker with another one refuses.
    """

    work: str
    tool: str
    ground: Mapping[str, str]
    values: Mapping[str, Any]
    frames: Mapping[str, str]
    url: str
    endpoint: str

    @property
    def result(self) -> str:
        """The SHA-256 over all that decides what comes out; not where it lies."""
        identity = asdict(self) | {"url": "", "endpoint": "", "polars": pl.__version__}
        return hashlib.sha256(json.dumps(identity, sort_keys=True).encode()).hexdigest()


def task_of(
    work: str, tool: str, ground: Ground, names: Mapping[str, str], frames: Frames,
    storage: PartStorage,
) -> Task:  # fmt: skip
    """The task of a part, with its frames put into the storage.

    Args:
        names: of the frames of the ground, which are there already.
    """
    return Task(
        work,
        tool,
        dict(names),
        asdict(ground.values),
        {name: storage.put_frame(frame) for name, frame in frames.items()},
        storage.url,
        storage.endpoint,
    )


def work_on(task: Task) -> None:
    """Does a task, unless its result is there.

    Raises:
        EngineError: the storage fails, or this machine has another version of the tool.
    """
    if source_hash() != task.tool:
        raise EngineError(
            f"The worker {socket.gethostname()} has another version of limeledger than the machine "
            "that refreshes. Install the same one on all machines, then refresh again; store and "
            "pages are as they were."
        )
    storage = PartStorage(task.url, task.endpoint)
    if storage.has_result(task.result):
        return
    ground = Ground.read(
        {name: storage.frame(frame) for name, frame in task.ground.items()}, task.values
    )
    frames = {name: storage.frame(frame) for name, frame in task.frames.items()}
    made = WORKS[task.work](ground, frames)
    storage.put_result(
        task.result, {name: storage.put_frame(frame) for name, frame in made.items()}
    )
