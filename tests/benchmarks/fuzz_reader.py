"""Feeds the reader random and broken files: `python tests/benchmarks/fuzz_reader.py COUNT [SEED]`.

Every case is compared with the slow reader of tests/properties where its text has a plain header,
and otherwise checked for its account of rows. A case that fails is written beside the corpus of
tests/bad_inputs/exports/corpus, whose files are the first seeds and are read by the unit tests.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
CORPUS = ROOT / "tests" / "bad_inputs" / "exports" / "corpus"
TOLD_EVERY = 10_000  # so that the count is known of a run that is stopped
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "properties")]

from exports_reference import compare_with_reference  # noqa: E402

from pipelines.exports import read_rows, read_sheet  # noqa: E402

ATOMS = [
    *['"', '""', ",", ";", "\t", "|", "\n", "\r\n", "\r", " ", "a", "7", "\0", "é", "\ufeff"],
    *['"\n', '\n"', ',"', '",', '"x"', '"x","y"', "\u00a0", "\u2028", "\x0b", "\x85", "😀", "ש"],
    *['3/4" pipe', "2026-03-31", "\n\n", ",,,", "x" * 40, "\x1a", "\\", "\\n", "'", "=1+1"],
]
BYTES = [atom.encode() for atom in ATOMS] + [b"\x81", b"\xe9", b"\xc3", b"\xd8\0", b"\xff\xfe"]


def random_text(rng: random.Random) -> tuple[str, int, str, str]:
    """Delimiter, width, header line and body."""
    delimiter, width = rng.choice(",;\t|"), rng.randint(2, 5)
    rows = []
    for _ in range(rng.randint(0, 12)):
        count = width if rng.random() < 0.85 else rng.randint(1, 6)
        fields = [
            "".join(rng.choices(ATOMS, k=rng.randint(0, 4)))
            if rng.random() < 0.25
            else rng.choice(["", "x", " z ", '"q"', '"q""r"', f'"{delimiter}"', '3/4"'])
            for _ in range(count)
        ]
        rows.append(delimiter.join(fields) + rng.choice(["\n", "\n", "\r\n", "\r"]))
    body = "".join(rows)
    if rng.random() < 0.3:
        body = body[: rng.randint(0, len(body))]
    top = delimiter.join(f"h{index}" for index in range(width)) + rng.choice(["\n", "\r\n", "\r"])
    return delimiter, width, top, body


def random_bytes(rng: random.Random, seeds: list[bytes]) -> bytes:
    """A seed file with some of its bytes cut, doubled or replaced, or atoms put together."""
    if rng.random() < 0.3:
        return b"".join(rng.choices(BYTES, k=rng.randint(0, 30)))
    data = bytearray(rng.choice(seeds))
    for _ in range(rng.randint(1, 6)):
        at = rng.randint(0, len(data))
        match rng.randint(0, 3):
            case 0:
                data[at:at] = rng.choice(BYTES)
            case 1:
                del data[at : at + rng.randint(1, 8)]
            case 2:
                data[at : at + 1] = bytes([rng.randrange(256)])
            case _:
                data[at:at] = data[at : at + rng.randint(1, 30)]
    return bytes(data)


def check_account(path: Path, block_bytes: int) -> None:
    """Every row is either sound or set aside."""
    reading = read_rows(path, block_bytes=block_bytes, max_field_chars=30)
    aside = set(reading.faults["line"])
    assert reading.fault or reading.rows_read == reading.rows.height + len(aside)
    assert not aside & set(reading.rows["line"])
    assert reading.rows["line"].is_unique().all()


def main(count: int, seed: int) -> None:
    """Runs `count` cases: texts, bytes and a few damaged workbooks."""
    rng = random.Random(seed)
    seeds = [path.read_bytes() for path in sorted(CORPUS.glob("*.csv"))]
    books = [path.read_bytes() for path in sorted(CORPUS.glob("*.xlsx"))]
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "case.csv"
        for case in range(count):
            block_bytes = rng.choice([5, 23, 200, 1 << 20])
            try:
                if case % 50 == 0 and books:
                    path.write_bytes(random_bytes(rng, books))
                    read_sheet(path)
                elif case % 2:
                    compare_with_reference(path, *random_text(rng), block_bytes)
                else:
                    path.write_bytes(random_bytes(rng, seeds))
                    check_account(path, block_bytes)
            except BaseException:
                kept = CORPUS / f"found_{seed}_{case}.csv"
                kept.write_bytes(path.read_bytes())
                print(f"case {case} of seed {seed} failed with blocks of {block_bytes}: {kept}")
                raise
            if (case + 1) % TOLD_EVERY == 0 or case + 1 == count:
                took = time.perf_counter() - began
                print(f"{case + 1:,} cases in {took:.0f} s, none failed", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)
