"""Lets the disk run full during refreshes: `python tests/benchmarks/full_disks.py COUNT [SEED]`.

Needs the right to mount: the worked claims stand on a disk of their own, in memory. One refresh
with space enough tells how much it takes at the most; then COUNT first refreshes and COUNT nights
get a drawn share of that, so that any of their writes may be the one that finds no space. Each must
end with exit code 70 and one clear sentence, and leave store and pages to the byte as they were;
after the last one a refresh with space must give what an undisturbed one gives.
"""

from __future__ import annotations

import contextlib
import functools
import multiprocessing
import os
import random
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE)]

from kill_refreshes import CASES, DAY, begin_anew, check_same, deliver, prepare  # noqa: E402

SENTENCES = ("the disk is full", "No space left on device")
ENOUGH = 2**30  # bytes


class Disk:
    """A small disk in memory, whose free space can be set."""

    def __init__(self, place: Path) -> None:
        self.place = place
        place.mkdir()
        mount = ["mount", "-t", "tmpfs", "-o", f"size={ENOUGH}", "tmpfs", str(place)]
        subprocess.run(mount, check=True)

    def used(self) -> int:
        """Bytes that are taken."""
        told = os.statvfs(self.place)
        return (told.f_blocks - told.f_bfree) * told.f_frsize

    def leave(self, free: int) -> None:
        """Leaves so many bytes free."""
        size = f"remount,size={self.used() + free}"
        subprocess.run(["mount", "-o", size, str(self.place)], check=True)

    def close(self) -> None:
        """Takes the disk away."""
        subprocess.run(["umount", str(self.place)], check=True)

    def most_used(self, work: threading.Thread) -> int:
        """The most bytes that are taken while some work goes on."""
        most = self.used()
        work.start()
        while work.is_alive():
            most = max(most, self.used())
            time.sleep(0.002)
        return most


def as_it_is(workspace: Path) -> dict[str, bytes]:
    """Every file of store and pages, without log, lock and the note of a failure."""
    folders = [workspace / "store", *workspace.glob("published*")]
    return {
        str(path.relative_to(workspace)): path.read_bytes()
        for folder in folders
        for path in sorted(folder.rglob("*"))
        if path.is_file()
        and path.suffix not in (".lock", ".log")
        and path.name not in ("status.js", "runs.jsonl")
    }


def told_refresh(folder: str, said: str) -> None:
    """One refresh in a process of its own, what it says put into a file."""
    from pipelines.cli.main import main

    with (
        open(said, "w") as file,
        contextlib.redirect_stderr(file),
        contextlib.redirect_stdout(file),
    ):
        sys.exit(main(["refresh", folder, "--as-of", DAY]))


def run(context: multiprocessing.context.ForkServerContext, workspace: Path) -> tuple[int, str]:
    """Exit code and what was said, which is not written to the full disk."""
    with tempfile.NamedTemporaryFile("r") as said:
        process = context.Process(target=told_refresh, args=(str(workspace), said.name))
        process.start()
        process.join()
        return process.exitcode or 0, said.read()


def fill(kind: str, count: int, rng: random.Random, disk: Disk, scratch: Path) -> None:
    """Lets `count` refreshes of one kind run out of space."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(
        ["pipelines.cli.refresh", "pipelines.steps.in_order", "full_disks"]
    )
    refresh = functools.partial(run, context)
    undisturbed, workspace = scratch / f"undisturbed {kind}", disk.place / f"workspace {kind}"
    shutil.copytree(CASES / "workspace", undisturbed)
    if kind == "night":
        assert refresh(undisturbed)[0] == 1
    shutil.copytree(undisturbed, workspace)
    deliver(random.Random(1), 0, [undisturbed, workspace])
    if kind == "first refresh":
        begin_anew(workspace)
    assert refresh(undisturbed)[0] == 1
    trial = shutil.copytree(workspace, disk.place / "trial")
    began = disk.used()
    needed = disk.most_used(threading.Thread(target=refresh, args=(trial,))) - began
    shutil.rmtree(trial)
    clean = shutil.copytree(workspace, scratch / f"clean {kind}")
    before, ended = as_it_is(workspace), 0
    for _ in range(count):
        disk.leave(free := rng.randrange(needed))
        code, said = refresh(workspace)
        disk.leave(ENOUGH)
        if code == 1:  # its most is a little less each time, as threads meet otherwise
            assert free > 0.9 * needed, (free, needed)
            ended += 1
            shutil.rmtree(workspace)
            shutil.copytree(clean, workspace)
            continue
        last = said.strip().splitlines()[-1]
        assert code == 70, (free, code, said)
        assert any(words in last for words in SENTENCES), (free, last)
        assert "Traceback" not in said, (free, said)
        after = as_it_is(workspace)
        moved = [name for name in {*before, *after} if before.get(name) != after.get(name)]
        assert not moved, (free, moved)
    assert refresh(workspace)[0] == 1
    (workspace / "store" / "limeledger.log").unlink(missing_ok=True)
    check_same(workspace, undisturbed)
    print(
        f"{kind}: {count} with less than the {needed / 2**20:.1f} MiB it takes, {ended} ended "
        "all the same; the others left all as it was, and then it was as undisturbed",
        flush=True,
    )


def main(count: int, seed: int) -> None:
    """First refreshes, then nights."""
    rng = random.Random(seed)
    with tempfile.TemporaryDirectory() as scratch:
        disk = Disk(Path(scratch) / "disk")
        try:
            for kind in ("first refresh", "night"):
                fill(kind, count, rng, disk, Path(scratch))
        finally:
            disk.close()


if __name__ == "full_disks":  # as the server from which the refreshes are forked loads it
    prepare()
elif __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)
