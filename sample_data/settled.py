"""What each claim of the sample is worth, taken over from a refresh: `tables/settled.csv`.

`python -m sample_data.settled FOLDER/published/data/decisions.csv` writes the table anew from the
decisions of a refreshed sample. That has to be done whenever anything of the sample changes that
decides claims; credits decide none, so the sample can be written anew right after.

Belongs here: taking the table over. Does not belong here: deciding anything.
"""

from __future__ import annotations

import sys
from pathlib import Path

import polars as pl

LINES = ("parts", "labor", "travel")
SETTLED = ("covered", "covered_in_part", "not_covered")
TABLE = Path(__file__).parent / "tables" / "settled.csv"


def settled(decisions: pl.DataFrame) -> pl.DataFrame:
    """claim, standing, parts, labor, travel of the claims that are open no more, all text."""
    return (
        decisions.filter(pl.col("standing").is_in(SETTLED))
        .select("claim", "standing", *(pl.col(f"{line}_standing").alias(line) for line in LINES))
        .sort("claim")
    )


def main(arguments: list[str]) -> int:
    """The command: one argument, the published decisions."""
    if len(arguments) != 1:
        print("usage: python -m sample_data.settled DECISIONS.csv", file=sys.stderr)
        return 2
    settled(pl.read_csv(arguments[0], infer_schema=False)).write_csv(TABLE)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
