"""Times the reader on an invented service export: `python tests/benchmarks/reader_speed.py MB`.

Prints seconds, CPU seconds and the peak of memory for plain rows, for rows with quoted notes, for
Windows-1252 with CRLF, and for notes with line breaks, beside one whole-file text read by polars.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
HEADER = (
    "call,claim,serial,kind,opened_on,failed_on,completed_on,claimed_on,agency,performed_by,"
    "product,cause,part,parts_amount,labor_hours,labor_rate,travel_amount,notes"
)
NOTES = {
    "plain": "leaks at the door when hot",
    "quoted": '"leaks at the door, ""hot"" side"',
    "cp1252": "Tür undicht",
    "line breaks": '"leaks at the door\nwhen hot"',
}


def write_export(path: Path, kind: str, megabytes: float) -> None:
    """An export of about that size; with line breaks, every tenth note holds one."""
    end = "\r\n" if kind == "cp1252" else "\n"
    encoding = "cp1252" if kind == "cp1252" else "utf-8"
    rows = [
        f"C-{i:07d},CL-{i:06d},SK-{i % 99991:06d},repair,2026-0{i % 9 + 1}-1{i % 10},2026-01-11,"
        f"2026-01-12,,AG-{i % 77:03d},technician,,scale,PT-{i % 500},{i % 300}.50,1.5,95.00,40.00,"
        + NOTES["plain" if kind == "line breaks" and i % 10 else kind]
        + end
        for i in range(20_000)
    ]
    block = "".join(rows).encode(encoding)
    with path.open("wb") as file:
        file.write((HEADER + end).encode())
        for _ in range(max(1, round(megabytes * 1e6 / len(block)))):
            file.write(block)


def measure(path: Path, reader: str) -> None:
    """Reads once in this process and prints what it took."""
    sys.path.insert(0, str(ROOT))
    import polars as pl

    from pipelines.exports import read_rows

    start, cpu = time.perf_counter(), time.process_time()
    if reader == "polars":
        rows = pl.read_csv(path, infer_schema=False, encoding="utf8-lossy").height
    else:
        rows = read_rows(path, known_names=HEADER.split(",")).rows_read
    wall, cpu = time.perf_counter() - start, time.process_time() - cpu
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"  {reader:8} {rows:>9,} rows {wall:6.2f} s {cpu:6.2f} cpu s, peak {peak:6.0f} MiB")


def main(megabytes: float) -> None:
    """Each kind and reader in a process of its own."""
    with tempfile.TemporaryDirectory() as folder:
        for kind in NOTES:
            path = Path(folder) / "service_calls.csv"
            write_export(path, kind, megabytes)
            print(f"{kind}: {path.stat().st_size / 1e6:.0f} MB", flush=True)
            for reader in ("polars", "reader"):
                subprocess.run([sys.executable, __file__, str(path), reader], check=True)


if __name__ == "__main__":
    if len(sys.argv) == 3:
        measure(Path(sys.argv[1]), sys.argv[2])
    else:
        main(float(sys.argv[1]) if len(sys.argv) == 2 else 100)
