"""How much memory a worker takes for one part: each kind of part in a process of its own.

`python tests/benchmarks/part_memory.py 250000 [FOLDER]` makes a fleet of one part, reads it, puts
its frames into a storage, and has each part worked on as a machine of a cluster does.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

import polars as pl

from pipelines.engine.part_storage import PartStorage
from pipelines.engine.task import Task, task_of, work_on
from pipelines.steps.decide import _parts, claims_on_record
from pipelines.store.evidence import fleet, ground_of, part_records
from pipelines.store.transaction import RefreshSession, open_session
from tests.benchmarks.make_workspace import AS_OF, make_workspace
from tests.nights import KNOWN, make

Frames = dict[str, pl.DataFrame]
READING = ("reference_tables", "landed_exports", "record_tables")


def peak_mib() -> int:
    """The most memory of this process; unlike getrusage, without what its parent held."""
    status = Path("/proc/self/status").read_text()
    line = next(line for line in status.splitlines() if line.startswith("VmHWM"))
    return int(line.split()[1]) // 1024


def work(task: Task) -> None:
    """Works on a part, as a worker does, and tells what that took."""
    before, begun = peak_mib(), time.process_time()
    work_on(task)
    seconds = time.process_time() - begun
    print(f"{task.work:10} {peak_mib():6,} MiB ({before} before), {seconds:.1f} s of CPU")


def working(session: RefreshSession, storage: PartStorage) -> Callable[[str, Frames], Frames]:
    """A call that has a part worked on in a process of its own, and reads what it made."""
    ground = ground_of(session.inputs, session.con)
    names = {name: storage.put_frame(frame) for name, frame in ground.frames.items()}

    def go(name: str, frames: Frames) -> Frames:
        task = task_of(name, session.state.tool, ground, names, frames, storage)
        subprocess.run(
            [sys.executable, __file__, "--work"],
            input=json.dumps(asdict(task)),
            text=True,
            check=True,
            env={**os.environ, "POLARS_MAX_THREADS": "1"},
        )
        return {table: storage.frame(one) for table, one in storage.result(task.result).items()}

    return go


def measure(units: int, scratch: Path) -> None:
    """Every kind of part, one after the other."""
    make_workspace(scratch / "workspace", units)
    with open_session(scratch / "workspace", AS_OF.isoformat(), known=KNOWN) as session:
        make(session, *READING)
        go = working(session, PartStorage(str(scratch / "parts")))
        go("claims", next(_parts(session, claims_on_record(session.con))))
        records = next(part_records(session.con, fleet(session.con, 1)))
        known = go("units", records)["unit_histories"]
        go("startups", records | {"cover": known.select("serial", "coverage_end")})
        units_of = known.select("serial", "site", "edition", "family")
        go("waters", {"water_tests": records["water_tests"], "units": units_of})


if __name__ == "__main__":
    if sys.argv[1] == "--work":
        work(Task(**json.load(sys.stdin)))
    else:
        with tempfile.TemporaryDirectory(dir=sys.argv[2] if len(sys.argv) > 2 else None) as folder:
            measure(int(sys.argv[1]), Path(folder))
