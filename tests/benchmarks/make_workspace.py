"""Writes a workspace of any size for benchmarks: `make_workspace.py FOLDER --units N`.

The units live as those of the sample do, with more calls and claims to each: 100,000 units give
about 400,000 calls and 40,000 claims. One file a feed, or several of a million rows, under the
feeds' own column names, without mappings and without planted faults.
"""

from __future__ import annotations

import argparse
import datetime as dt
import sys
import time
from dataclasses import fields
from pathlib import Path

import polars as pl

from sample_data import AS_OF
from sample_data.generate import SEED, Shape, copy_written, make_feeds
from sample_data.rulings import rulings
from schemas.columns import key_columns
from schemas.feeds import FEED_TABLES, SEEN_BY

ROWS_PER_FILE = 1_000_000
# Chosen so that there are four calls and 0.4 claims to a unit.
INSPECTIONS_PER_UNIT, CLAIM_SHARE, RULED_SHARE = 1.33, 0.70, 0.17
_NOT_EXPORTED = ("cause_known_on", "true_cause", "mistake", "ruled_on")


def make_workspace(folder: Path, units: int, seed: int = SEED) -> dict[str, int]:
    """Writes the workspace and returns the number of rows of each feed."""
    shape = Shape(units, INSPECTIONS_PER_UNIT, CLAIM_SHARE, RULED_SHARE)
    feeds = make_feeds(shape, seed)
    feeds.rulings = rulings(feeds.service_calls, shape.ruled_share, seed)
    copy_written(folder, mappings=False)
    rows = {}
    for field in fields(feeds):
        frame = getattr(feeds, field.name).drop(_NOT_EXPORTED, strict=False)
        setattr(feeds, field.name, None)  # a feed that is written need not stay in memory
        if frame.is_empty():
            continue
        rows[field.name] = frame.height
        _write(frame, folder / "exports" / field.name, field.name)
    return rows


def add_night(folder: Path, share: float = 1 / 1000) -> dt.date:
    """Adds one day's new files, one a feed: so large a share of the rows, anew; returns the day."""
    day = AS_OF + dt.timedelta(days=1)
    for feed, seen_by in SEEN_BY.items():
        path = min((folder / "exports" / feed).glob("*.csv"), default=None)
        if path is None:  # a feed that this fleet does not export
            continue
        rows = pl.read_csv(path, infer_schema=False)
        some = rows.sample(max(1, round(rows.height * share)), seed=SEED)
        renamed = {"claim", key_columns(FEED_TABLES[feed])[0]} & set(rows.columns)
        if feed == "rulings":  # of claims that are there
            renamed = set()
        fresh = some.with_columns(
            *((pl.col(name) + "9").alias(name) for name in renamed),
            *(
                pl.lit(f"{day}T08:00:00" if feed == "rulings" else str(day)).alias(n)
                for n in seen_by
            ),
        )
        fresh.write_csv(folder / "exports" / feed / f"{feed}_{day}.csv")
    return day


def _write(frame: pl.DataFrame, folder: Path, feed: str) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for number, start in enumerate(range(0, max(frame.height, 1), ROWS_PER_FILE), 1):
        path = folder / f"{feed}_{AS_OF}_{number:02d}.csv"
        frame.slice(start, ROWS_PER_FILE).write_csv(path)


def main(arguments: list[str]) -> int:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, help="a new or empty folder")
    parser.add_argument("--units", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=SEED)
    args = parser.parse_args(arguments)
    if args.folder.exists() and any(args.folder.iterdir()):
        parser.error(f"{args.folder} is not empty; name a new or empty folder.")
    started = time.monotonic()
    rows = make_workspace(args.folder, args.units, args.seed)
    for feed, count in rows.items():
        print(f"{feed:20} {count:>10,}")
    print(f"{time.monotonic() - started:.1f} s; refresh it with --as-of {AS_OF}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
