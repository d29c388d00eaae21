"""Decides past days of the sample again: `python tests/benchmarks/reproduce_days.py [NIGHTS]`.

Each night is a day later than the one before. Between them an edition's days change, a reference
file grants otherwise, rows leave an export, files are deleted. At the end exports, terms, reference
files and settings are taken away, and every night is decided again from the archive alone: told are
the claims decided, and those that came out as published. The estimates are left out.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import json
import os
import random
import re
import shutil
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "end_to_end")]
os.environ["DAGSTER_DISABLE_TELEMETRY"] = "1"

from conftest import empty_figures  # noqa: E402

FIRST = dt.date(2026, 10, 1)  # the day after the sample's own
TERMS = ("file_within_days", "request_within_days", "grace_days", "workmanship_days")


def call(*arguments: object) -> tuple[int, str]:
    """A command in this process: its exit code and what it wrote."""
    from pipelines.cli.main import main

    out, said = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(said):
        code = main([str(argument) for argument in arguments])
    if code not in (0, 1):
        sys.exit(f"{arguments}: exit code {code}: {said.getvalue()}")
    return code, out.getvalue()


def change(root: Path, draw: random.Random, night: int) -> str:
    """What differs from the night before."""
    kind = night % 4
    if kind == 0:
        path = draw.choice(sorted((root / "terms").glob("*.toml")))
        key = draw.choice(TERMS)
        text, times = re.subn(
            rf"(?m)^{key} = .*$", f"{key} = {draw.randrange(5, 90)}", path.read_text()
        )
        path.write_text(text)
        return f"{path.name}: {key}, {times} time(s)"
    if kind == 1:
        path = root / "reference" / "agencies.csv"
        header, *rows = path.read_text().splitlines()
        number = draw.randrange(len(rows))
        cells = rows[number].split(",")
        cells[header.split(",").index("labor_rate")] = str(draw.randrange(50, 120))
        rows[number] = ",".join(cells)
        path.write_text("\n".join([header, *rows, ""]))
        return f"agencies.csv: {cells[0]}"
    files = sorted((root / "exports").rglob("*.csv"))
    path = draw.choice([file for file in files if file.stat().st_size > 2000])
    if kind == 2:
        lines = path.read_bytes().splitlines(keepends=True)
        kept = [line for line in lines[1:] if b'"' in line or draw.random() > 0.05]
        path.write_bytes(b"".join([lines[0], *kept]))
        return f"{path.name}: {len(lines) - 1 - len(kept)} rows gone"
    path.unlink()
    return f"{path.name} deleted"


def main() -> None:
    """Refreshes night after night, then decides each again from the archive."""
    import pipelines.steps.figures

    nights = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    draw = random.Random(7)
    with tempfile.TemporaryDirectory() as scratch:
        root = Path(scratch) / "sample"
        days = [FIRST + dt.timedelta(days=number) for number in range(nights)]
        os.environ["LIMELEDGER_NOW"] = f"{days[0]}T06:00:00+00:00"
        pipelines.steps.figures.figure_tables = empty_figures
        call("demo", root)
        for number, day in enumerate(days):
            os.environ["LIMELEDGER_NOW"] = f"{day}T08:00:00+00:00"
            told = change(root, draw, number) if number else "as laid out"
            call("refresh", root, "--as-of", day)
            print(f"{day}: {told}", flush=True)
        os.environ["LIMELEDGER_NOW"] = f"{days[-1] + dt.timedelta(days=30)}T08:00:00+00:00"
        for name in ("exports", "terms", "reference"):
            shutil.rmtree(root / name)
        (root / "exports").mkdir()
        (root / "store" / "limeledger.duckdb").unlink()
        decided, same, wrong = 0, 0, []
        for day in days:
            _, text = call("reproduce", "--all", root, "--decided", day, "--json")
            told = json.loads(text)
            decided, same = decided + told["claims"], same + told["same"]
            wrong += [(str(day), one) for one in told["differs"]]
        print(f"{nights} days, {decided} claims decided again, {same} as they were published")
        print("\n".join(map(str, wrong[:20])))
        sys.exit(1 if wrong or not decided else 0)


if __name__ == "__main__":
    main()
