"""Times a refresh beside a bare DuckDB read of the same CSVs: `refresh_benchmark.py --units N`.

Makes a workspace (or takes one with --workspace), then runs each in a process of its own: DuckDB
reading every export as text into a file, a first refresh, a second with nothing new, `explain`,
and (in a workspace of its own making) a night with one day's new files. Prints
wall time, CPU time and peak memory, their ratios to the bare read, and the seconds of each step.
Wall times of a busy machine mean little: look at the ratios of CPU time.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl
from make_workspace import add_night, make_workspace

from sample_data import AS_OF

ROOT = Path(__file__).resolve().parents[2]
BARE_READ = """
import sys, duckdb
con = duckdb.connect(sys.argv[1])
for number, folder in enumerate(sys.argv[2:]):
    con.execute(
        f"create table t{number} as from read_csv(?, all_varchar=true)", [folder + "/*.csv"]
    )
con.close()
"""


@dataclass
class Run:
    """One process: seconds, CPU seconds, peak memory in MiB, and (seconds, line) of progress."""

    wall: float
    cpu: float
    peak: float
    steps: list[tuple[float, str]] = field(default_factory=list)


def measure(command: list[str]) -> Run:
    """Runs a command to its end and takes down when it told what; exit code 1 is no failure."""
    started = time.monotonic()
    process = subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    )
    steps: list[tuple[float, str]] = []

    def listen() -> None:
        for line in process.stderr or ():
            steps.append((time.monotonic() - started, line.strip()))

    listener = threading.Thread(target=listen)
    listener.start()
    _, status, used = os.wait4(process.pid, 0)
    wall = time.monotonic() - started
    process.returncode = os.waitstatus_to_exitcode(status)
    listener.join()
    if process.returncode not in (0, 1):
        told = "\n".join(line for _, line in steps[-5:])
        raise SystemExit(f"{command} ended with {process.returncode}:\n{told}")
    return Run(wall, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024, steps)


def bare_read(workspace: Path) -> Run:
    """DuckDB reads every feed's folder as text into a file of its own."""
    folders = [str(path) for path in sorted((workspace / "exports").iterdir()) if path.is_dir()]
    with tempfile.TemporaryDirectory() as scratch:
        target = str(Path(scratch) / "bare.duckdb")
        return measure([sys.executable, "-c", BARE_READ, target, *folders])


def refresh(workspace: Path, as_of: dt.date = AS_OF) -> Run:
    """One refresh through the command."""
    command = [sys.executable, "-m", "pipelines.cli", "refresh", str(workspace)]
    return measure([*command, "--as-of", str(as_of), "--json"])


def explain(workspace: Path) -> Run:
    """One claim told by the command."""
    calls = min((workspace / "exports" / "service_calls").glob("*.csv"))
    claims = pl.scan_csv(calls, infer_schema=False).select("claim").drop_nulls()
    claim = claims.head(1).collect().item()
    command = [sys.executable, "-m", "pipelines.cli", "explain", claim, str(workspace)]
    return measure(command)


def report(name: str, run: Run, base: Run) -> None:
    """One line of the table."""
    print(
        f"{name:28}{run.wall:>8.1f} s{run.cpu:>9.1f} s{run.peak:>8,.0f} MiB"
        f"{run.wall / base.wall:>8.2f}{run.cpu / base.cpu:>8.2f}"
    )


def report_steps(run: Run) -> None:
    """How long each step of a refresh took: until the next one was told."""
    for (began, line), (ended, _) in zip(run.steps, [*run.steps[1:], (run.wall, "")], strict=True):
        if ended - began >= 0.05:
            print(f"    {ended - began:>7.1f} s  {line[:80]}")


def main(arguments: list[str]) -> int:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--units", type=int, default=100_000)
    parser.add_argument("--workspace", type=Path, help="an existing one, whose store is removed")
    parser.add_argument("--runs", type=int, default=1, help="first refreshes; the median is told")
    parser.add_argument("--memory-gib", type=float, help="stop a process that reserves more")
    args = parser.parse_args(arguments)
    if args.memory_gib:
        most = int(args.memory_gib * 2**30)
        resource.setrlimit(resource.RLIMIT_DATA, (most, most))
    with tempfile.TemporaryDirectory() as scratch:
        workspace = args.workspace or Path(scratch) / "workspace"
        if args.workspace is None:
            rows = make_workspace(workspace, args.units)
            print(", ".join(f"{count:,} {feed}" for feed, count in rows.items()))
        size = sum(path.stat().st_size for path in (workspace / "exports").rglob("*.csv"))
        print(
            f"{size / 1e6:,.0f} MB of CSV; load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
        )
        bases, firsts = [], []
        for _ in range(args.runs):
            (workspace / "store" / "limeledger.duckdb").unlink(missing_ok=True)
            bases.append(bare_read(workspace))
            firsts.append(refresh(workspace))
        base = sorted(bases, key=lambda run: run.wall)[len(bases) // 2]
        first = sorted(firsts, key=lambda run: run.wall)[len(firsts) // 2]
        print(f"{'':28}{'wall':>10}{'CPU':>11}{'peak':>12}{'x wall':>8}{'x CPU':>8}")
        report("bare DuckDB read, all text", base, base)
        report("first refresh", first, base)
        report("refresh with nothing new", refresh(workspace), base)
        report("explain one claim", explain(workspace), base)
        if not args.workspace:
            night = refresh(workspace, add_night(workspace))
            report("a night with one day's files", night, base)
        ratios = [one.cpu / other.cpu for one, other in zip(firsts, bases, strict=True)]
        print(f"median ratio of CPU time: {statistics.median(ratios):.2f}")
        report_steps(first)
        if not args.workspace:
            print("  the night:")
            report_steps(night)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
