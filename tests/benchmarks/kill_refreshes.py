"""Kills refreshes at random moments: `python tests/benchmarks/kill_refreshes.py COUNT [SEED]`.

Two copies of the worked claims take the same deliveries. One is refreshed undisturbed; of the
other, refresh after refresh is killed with SIGKILL at a moment drawn evenly over the time that the
undisturbed one took. After every kill its pages must be whole; after at most ten kills one refresh
runs to its end, and store and pages must be those of the undisturbed copy. A refresh that ends
before its kill is not counted. Every third round both copies begin without store and pages, so
that it is first refreshes that are killed; the others are nights.

The estimates are left out and the charts compiled once, which is two thirds of a small refresh in
which nothing is written: so more of the kills fall on writes. Their tables are written, empty.
"""

from __future__ import annotations

import contextlib
import io
import json
import multiprocessing
import os
import random
import re
import shutil
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
CASES = ROOT / "tests" / "cases" / "worked_claims"
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "end_to_end")]
os.environ["DAGSTER_DISABLE_TELEMETRY"] = "1"

from conftest import differing, empty_figures, store  # noqa: E402

DAY = (CASES / "expected" / "as_of.txt").read_text().strip()
KILLS_A_ROUND = 10
FIRST_EVERY = 3  # rounds
MOMENT = re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:\d{2}(\.\d+)?)?")


def prepare() -> None:
    """Run once in the process from which the refreshes are forked."""
    import pipelines.steps.figures
    from dashboards.charts import shared_files

    pipelines.steps.figures.figure_tables = empty_figures
    shared_files.chart_library()
    shared_files.chart_specifications("USD")


def refresh(folder: str) -> None:
    """One refresh, silent, in a process of its own."""
    from pipelines.cli.main import main

    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        sys.exit(main(["refresh", folder, "--as-of", DAY]))


def deliver(rng: random.Random, number: int, folders: list[Path]) -> None:
    """One delivery into both copies: new units, a corrected file, sometimes one taken away."""
    header = (CASES / "workspace/exports/units/register.csv").read_text().splitlines()[0]
    rows = [
        f"K{number:03}{unit:02},CO-1,2024-01-02,2024-01-10,2024-01-20,SITE-16,Kitchen,US-NM,00000,"
        for unit in range(rng.randint(1, 9))
    ]
    day = f"2025-{rng.randint(1, 12):02}-{rng.randint(1, 28):02}"
    gone = rng.randrange(number) if number and rng.random() < 0.3 else None
    for folder in folders:
        exports = folder / "exports"
        (exports / f"units/more_{number}.csv").write_text("\n".join([header, *rows, ""]))
        calls = exports / "service_calls/calls_2025-12-20.csv"
        original = (CASES / "workspace" / calls.relative_to(folder)).read_text()
        calls.write_text(original.replace("2024-09-10,NORTHSTAIR", f"{day},NORTHSTAIR"))
        if gone is not None:
            (exports / f"units/more_{gone}.csv").unlink(missing_ok=True)


def pages(folder: Path) -> dict[str, str]:
    """Every published text, without the moments at which a refresh ran."""
    published = folder / "published"
    return {
        str(path.relative_to(published)): MOMENT.sub("", path.read_text())
        for path in sorted(published.rglob("*"))
        if path.is_file() and path.suffix not in (".parquet", ".xlsx")
    }


def begin_anew(folder: Path) -> None:
    """Takes store and pages away: the next refresh is a first one."""
    shutil.rmtree(folder / "store", ignore_errors=True)
    shutil.rmtree(folder / "published", ignore_errors=True)


def check_whole(folder: Path) -> None:
    """What a reader needs: one refresh's pages and tables, and every claim page that is linked.

    Before the first refresh has ended there may be no pages at all.
    """
    published = folder / "published"
    if not published.exists() and not (folder / "store" / "limeledger.duckdb").exists():
        return
    manifest = json.loads((published / "manifest.json").read_text())
    index = (published / "index.html").read_text()
    assert f'datetime="{manifest["as_of"]}"' in index
    assert index.rstrip().endswith("</html>")
    for link in set(re.findall(r'href="(claims/[^"#]+)"', index)):
        assert (published / link).is_file(), link
    assert len((published / "data" / "decisions.csv").read_text().splitlines()) == 37


def check_same(killed: Path, undisturbed: Path) -> None:
    """Store and pages are those of the copy that nothing disturbed, and nothing is left over."""
    assert differing(store(undisturbed), store(killed)) == []
    one, other = pages(undisturbed), pages(killed)
    assert [name for name in {*one, *other} if one.get(name) != other.get(name)] == []
    left = {path.name for path in (killed / "store").iterdir()}
    assert left <= {"limeledger.duckdb", "refresh.lock", "runs.jsonl"}, left
    assert not list(killed.glob("published.*"))


def main(count: int, seed: int) -> None:
    """Kills `count` refreshes."""
    rng = random.Random(seed)
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(
        ["pipelines.cli.refresh", "pipelines.steps.in_order", "kill_refreshes"]
    )

    def begin(folder: Path) -> multiprocessing.process.BaseProcess:
        process = context.Process(target=refresh, args=(str(folder),), daemon=True)
        process.start()
        return process

    def finish(folder: Path) -> float:
        began = time.monotonic()
        process = begin(folder)
        process.join()
        assert process.exitcode == 1, f"a refresh of {folder} ended with {process.exitcode}"
        return time.monotonic() - began

    began, rounds, early, quarters = time.monotonic(), 0, 0, [0, 0, 0, 0]
    kills = {"first refreshes": 0, "nights": 0}
    with tempfile.TemporaryDirectory() as name:
        killed, undisturbed = Path(name) / "killed", Path(name) / "undisturbed"
        shutil.copytree(CASES / "workspace", killed)
        shutil.copytree(killed, undisturbed)
        while (done := sum(kills.values())) < count:
            kind = "nights" if rounds % FIRST_EVERY else "first refreshes"
            if kind == "first refreshes":
                begin_anew(killed)
                begin_anew(undisturbed)
            deliver(rng, rounds, [killed, undisturbed])
            took = finish(undisturbed)
            for _ in range(min(KILLS_A_ROUND, count - done)):
                process = begin(killed)
                share = rng.uniform(0.0, 1.02)
                process.join(share * took)
                alive = process.is_alive()
                process.kill()
                process.join()
                check_whole(killed)
                if not alive or process.exitcode != -9:
                    early += 1
                    break
                kills[kind] += 1
                quarters[min(int(share * 4), 3)] += 1
            finish(killed)
            check_same(killed, undisturbed)
            rounds += 1
            print(f"killed {kills}, {rounds} deliveries, last refresh {took:.1f} s", flush=True)
    print(
        f"{kills} killed (by quarter of their time: {quarters}), {early} ended first, "
        f"{rounds} deliveries, {time.monotonic() - began:.0f} s: all as undisturbed"
    )


if __name__ == "kill_refreshes":  # as the server from which the refreshes are forked loads it
    prepare()
elif __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)
