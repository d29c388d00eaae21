"""Times a refresh beside a bare DuckDB read of the same CSVs: `refresh_benchmark.py --units N`.

Makes a workspace (or takes a copy of one's exports with --workspace), then runs each in a process
of its own, as often as --runs says: DuckDB reading every export as text into a file, a first
refresh, a second with nothing new, `explain`, a ruling at the desk, and a night with one day's new
files; and beside them a first refresh of a workspace of 20 units and `demo`. With --double a fleet
of twice the units is refreshed too. Prints the medians of wall time, CPU time and peak memory,
their ratios to the bare read of the same run, and the seconds of each step, also of CPU.
Wall times of a busy machine mean little: look at the ratios of CPU time.
"""

from __future__ import annotations

import argparse
import contextlib
import datetime as dt
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl
from make_workspace import add_night

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


# Installed packages have their bytecode; a shell that forbids writing it would time the compiler.
ENVIRONMENT = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
BARE, FIRST, AGAIN, EXPLAIN, RULE, NIGHT, TINY, DEMO = (
    "bare DuckDB read, all text",
    "first refresh",
    "refresh with nothing new",
    "explain one claim",
    "a ruling at the desk",
    "a night with one day's files",
    "20 units, first refresh",
    "demo",
)
TINY_UNITS = 20


@dataclass
class Run:
    """One process: seconds, CPU seconds, peak memory in MiB, and each line of progress with the
    seconds and CPU seconds by then."""

    wall: float
    cpu: float
    peak: float
    steps: list[tuple[float, float, str]] = field(default_factory=list)


def cpu_by_now(process: int) -> float:
    """The CPU seconds that a process has taken (proc(5): utime and stime of its stat)."""
    told = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")


def measure(command: list[str]) -> Run:
    """Runs a command to its end and takes down when it told what; exit code 1 is no failure."""
    started = time.monotonic()
    process = subprocess.Popen(
        command,
        cwd=ROOT,
        env=ENVIRONMENT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    steps: list[tuple[float, float, str]] = []

    def listen() -> None:
        cpu = 0.0
        for line in process.stderr or ():
            with contextlib.suppress(OSError):  # it has ended: the last words cost nothing more
                cpu = cpu_by_now(process.pid)
            steps.append((time.monotonic() - started, cpu, line.strip()))

    listener = threading.Thread(target=listen)
    listener.start()
    _, status, used = os.wait4(process.pid, 0)
    wall = time.monotonic() - started
    process.returncode = os.waitstatus_to_exitcode(status)
    listener.join()
    if process.returncode not in (0, 1):
        told = "\n".join(line for _, _, line in steps[-5:])
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


def a_claim(workspace: Path) -> str:
    """The first claim of the exports."""
    calls = min((workspace / "exports" / "service_calls").glob("*.csv"))
    claims = pl.scan_csv(calls, infer_schema=False).select("claim").drop_nulls()
    return claims.head(1).collect().item()


def explain(workspace: Path) -> Run:
    """One claim told by the command."""
    command = [sys.executable, "-m", "pipelines.cli", "explain"]
    return measure([*command, a_claim(workspace), str(workspace)])


def rule(workspace: Path) -> Run:
    """One ruling by the command, of which nothing is left afterwards."""
    before = Path(shutil.copytree(workspace / "desk", workspace / "desk.before"))
    command = [sys.executable, "-m", "pipelines.cli", "rule", a_claim(workspace), "not_covered"]
    run = measure([*command, "--by", "clerk", "--reason", "measured", str(workspace)])
    shutil.rmtree(workspace / "desk")
    before.rename(workspace / "desk")
    return run


def small(scratch: Path) -> dict[str, Run]:
    """What a refresh costs whatever the fleet: 20 units, and the demo."""
    tiny, demo = scratch / "tiny", scratch / "demo"
    make(tiny, TINY_UNITS)
    runs = {
        TINY: refresh(tiny),
        DEMO: measure([sys.executable, "-m", "pipelines.cli", "demo", str(demo)]),
    }
    shutil.rmtree(tiny)
    shutil.rmtree(demo)
    return runs


def make(workspace: Path, units: int) -> None:
    """Makes the fleet in another process: a child's peak memory counts what its parent holds."""
    script = [sys.executable, str(Path(__file__).with_name("make_workspace.py"))]
    subprocess.run([*script, str(workspace), "--units", str(units)], cwd=ROOT, check=True)


def once(workspace: Path) -> dict[str, Run]:
    """All that is measured, once; the workspace ends as it began, but for its store and pages."""
    (workspace / "store" / "limeledger.duckdb").unlink(missing_ok=True)
    shutil.rmtree(workspace / "published", ignore_errors=True)
    runs = {
        BARE: bare_read(workspace),
        FIRST: refresh(workspace),
        AGAIN: refresh(workspace),
        EXPLAIN: explain(workspace),
        RULE: rule(workspace),
    }
    before = set((workspace / "exports").rglob("*"))
    runs[NIGHT] = refresh(workspace, add_night(workspace))
    for path in set((workspace / "exports").rglob("*")) - before:
        path.unlink()
    return runs


def wall_of(run: Run) -> float:
    """Seconds by the clock."""
    return run.wall


def cpu_of(run: Run) -> float:
    """Seconds of the processors."""
    return run.cpu


def peak_of(run: Run) -> float:
    """The most memory, in MiB."""
    return run.peak


def median(runs: list[Run], of: Callable[[Run], float]) -> float:
    """The median of one measure."""
    return statistics.median(of(run) for run in runs)


def report(rounds: list[dict[str, Run]]) -> None:
    """The table: medians, and the medians of the ratios to the bare read of the same round."""
    print(f"{'':28}{'wall':>10}{'CPU':>11}{'peak':>12}{'x wall':>8}{'x CPU':>8}")
    for name in rounds[0]:
        runs = [one[name] for one in rounds]
        by_wall = statistics.median(one[name].wall / one[BARE].wall for one in rounds)
        by_cpu = statistics.median(one[name].cpu / one[BARE].cpu for one in rounds)
        print(
            f"{name:28}{median(runs, wall_of):>8.1f} s"
            f"{median(runs, cpu_of):>9.1f} s"
            f"{median(runs, peak_of):>8,.0f} MiB{by_wall:>8.2f}{by_cpu:>8.2f}"
        )


def report_steps(run: Run) -> None:
    """How long each step of a refresh took, until the next one was told, and the CPU by then."""
    following = [*run.steps[1:], (run.wall, run.cpu, "")]
    for (began, cpu, line), (ended, later, _) in zip(run.steps, following, strict=True):
        if ended - began >= 0.05:
            print(f"    {ended - began:>7.1f} s {later - cpu:>7.1f} s of CPU  {line[:80]}")


def main(arguments: list[str]) -> int:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--units", type=int, default=100_000)
    parser.add_argument("--workspace", type=Path, help="one whose exports are copied and measured")
    parser.add_argument("--runs", type=int, default=1, help="rounds; medians are told")
    parser.add_argument("--double", action="store_true", help="also a fleet of twice the units")
    parser.add_argument("--memory-gib", type=float, help="stop a process that reserves more")
    args = parser.parse_args(arguments)
    if args.memory_gib:
        most = int(args.memory_gib * 2**30)
        resource.setrlimit(resource.RLIMIT_DATA, (most, most))
    with tempfile.TemporaryDirectory() as scratch:
        workspace = Path(scratch) / "workspace"
        if args.workspace:
            left_out = shutil.ignore_patterns("store", "published*")
            shutil.copytree(args.workspace, workspace, ignore=left_out)
        else:
            make(workspace, args.units)
        size = sum(path.stat().st_size for path in (workspace / "exports").rglob("*.csv"))
        load = os.getloadavg()[0]
        print(f"{size / 1e6:,.0f} MB of CSV; load {load:.1f} on {os.cpu_count()} cores")
        rounds = [once(workspace) | small(Path(scratch)) for _ in range(args.runs)]
        report(rounds)
        for name in (FIRST, NIGHT):
            print(f"  {name}, last round:")
            report_steps(rounds[-1][name])
        if args.double:
            twice = Path(scratch) / "twice"
            make(twice, 2 * args.units)
            again = [once(twice)[FIRST] for _ in range(args.runs)]
            for what, of in (("wall", wall_of), ("CPU", cpu_of)):
                ratio = median(again, of) / median([one[FIRST] for one in rounds], of)
                print(f"twice the units: {ratio:.2f} times the first refresh's {what} time")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
