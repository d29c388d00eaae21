"""What steps and joins cost: `python tests/benchmarks/mapping_speed.py [ROWS]`, in CPU seconds.

Calls are read plainly, then under a mapping with steps, phrases and translations (the goal is at
most 1.3 times), then joined with a million claim lines (at most 5 s for the join).
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pipelines.exports import read_rows
from pipelines.records.feed_file import parse_file
from pipelines.records.joining import Source, join_files
from pipelines.records.mapping import Mapping, load_mapping
from pipelines.records.row_cells import Place

HEADER = "call,serial,kind,opened_on,completed_on,agency,cause,parts_amount,labor_hours,notes\n"
STEPS = """[transforms]
serial = [ { pad = 7 }, { upper = true } ]
agency = [ { key = true } ]
parts_amount = [ { trailing_minus = true } ]
notes = [ { empty = ["-", "n/a"] } ]
[values.kind]
ZREP = "repair"
ZENT = "delime"
[[phrases.cause]]
any = ["scale", "lime"]
code = "SCALE"
[[phrases.cause]]
otherwise = true
code = "OTHER"
"""
JOIN = """[columns]
parts_amount = "line.parts"
labor_hours = "line.hours"
part = "line.part"
[[join]]
name = "line"
files = ["lines.csv"]
on = { "call" = "Order" }
on_steps = [ { strip_zeros = true } ]
sum.parts = { header = "Ext", where = { Type = ["MAT", "FRT"] } }
sum.hours = { header = "Qty", where = { Type = ["LAB"] } }
first.part = { header = "Part", where = { Type = ["MAT"] } }
"""


def timed(work: Callable[[], Any], times: int = 3) -> tuple[float, Any]:
    """CPU seconds of the fastest of several runs, and the result."""
    best, result = float("inf"), None
    for _ in range(times):
        start = time.process_time()
        result = work()
        best = min(best, time.process_time() - start)
    return best, result


def calls(path: Path, rows: int, kinds: tuple[str, str], cause: str) -> None:
    """An export of calls."""
    draw = random.Random(1)
    with path.open("w", encoding="utf-8") as file:
        file.write(HEADER)
        for number in range(rows):
            day = f"202{draw.randrange(3, 6)}-{draw.randrange(1, 13):02}-{draw.randrange(1, 29):02}"
            amount = draw.randrange(1, 90_000) / 100
            file.write(
                f"{number:08},{draw.randrange(10**6):07},{kinds[draw.random() < 0.2]},{day},{day},"
                f"AGENCY-{draw.randrange(40)},{cause},{amount},{draw.randrange(1, 40) / 4},"
                f"as found no {draw.randrange(10**5)}\n"
            )


def lines(path: Path, rows: int, orders: int) -> None:
    """An export of the lines of claims."""
    draw = random.Random(2)
    with path.open("w", encoding="utf-8") as file:
        file.write("Order,Type,Part,Qty,Ext\n")
        for _ in range(rows):
            kind = draw.choice(("MAT", "LAB", "FRT"))
            count, amount = draw.randrange(1, 40) / 4, draw.randrange(1, 90_000) / 100
            order, part = draw.randrange(orders), f"P{draw.randrange(999)}"
            file.write(f"{order},{kind},{part},{count},{amount}\n")


def main(rows: int) -> None:
    """Prints the figures."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        plain, worded = home / "calls.csv", home / "worded.csv"
        calls(plain, rows, ("repair", "delime"), "SCALE")
        calls(worded, rows, ("ZREP", "ZENT"), "scale on heater")
        mapping = home / "service_calls.toml"
        mapping.write_text(STEPS, encoding="utf-8")
        steps = load_mapping(mapping)

        def parse(path: Path, one: Mapping) -> int:
            return parse_file("service_calls", read_rows(path), one, "UTC").rows.height

        bare, height = timed(lambda: parse(plain, Mapping.plain("service_calls")))
        stepped, same = timed(lambda: parse(worded, steps))
        assert height == same == rows
        print(f"{rows:,} calls: plainly {bare:.2f} s, with steps {stepped:.2f} s, ", end="")
        print(f"{stepped / bare:.2f} times")
        many = home / "lines.csv"
        lines(many, 1_000_000, rows)
        mapping.write_text(JOIN, encoding="utf-8")
        joined = load_mapping(mapping)
        first = Source(Place("calls.csv"), read_rows(plain))
        reading, read = timed(lambda: read_rows(many), 1)
        spent, found = timed(lambda: join_files(joined, [first], [[Source(Place("l"), read)]]))
        taken = found.ends[0].rows.filter(rank=0).height
        assert taken == 1_000_000
        print(f"1,000,000 lines joined to {rows:,} calls: {spent:.2f} s; ", end="")
        print(f"reading the lines {reading:.2f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 300_000)
