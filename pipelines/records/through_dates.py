"""How far each file is complete, and which of two rows that follows comes later.

Belongs here: the day of a file, and the rank of a row by it. Does not belong here: which rows win
(`settling`), the counts of files (`accounting`).
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipelines.records.cross_checks import RANK
from schemas.codes import DESK_FILE

_PARTS = 2**12  # of a row; further ones are of one rank


def latest_of(seen: Sequence[pl.DataFrame]) -> pl.DataFrame:
    """source_file, latest: each file once, of parts whose rows come from the same files."""
    return pl.concat(seen).group_by("source_file").agg(pl.col("latest").max())


def through_dates(files: pl.DataFrame, seen: pl.DataFrame) -> pl.DataFrame:
    """The day up to which each file is complete: the one in its name, else the latest seen.

    Args:
        files: by `FILES`.
        seen: source_file, latest: each file once.

    Returns:
        file, sheet, place, joined_as, through_date, in the order of the files.
    """
    # Nor does one row that a person typed say how far a feed is complete.
    tells = (pl.col("joined_as") == "") & (pl.col("file") != DESK_FILE)
    day = pl.when(tells).then(pl.coalesce("named_date", "latest"))
    return files.join(
        seen, left_on="file", right_on="source_file", how="left", maintain_order="left"
    ).select("file", "sheet", "place", "joined_as", through_date=day)


def rank_of(rows: pl.DataFrame, through: pl.DataFrame) -> pl.Series:
    """The rank of every row among the versions of its key; the greatest wins."""
    ranks = (
        through.filter(pl.col("joined_as") == "")
        .sort(
            pl.col("file") != DESK_FILE,  # any export says more than what a person typed
            "through_date",
            pl.col("file").str.split("/").list.last(),
            "file",
            "place",
            nulls_last=False,
        )
        .with_row_index("rank")
    )
    if len(ranks.filter(pl.col("sheet") != "")):
        names = pl.concat_str("source_file", "source_sheet", separator="\0")
        of_file = pl.concat_str("file", "sheet", separator="\0")
        here, known = rows.select(names).to_series(), ranks.select(of_file).to_series()
    else:  # the names of sheets are not worth a thought where there are none
        here, known = rows["source_file"], ranks["file"]
    rank = here.replace_strict(known, ranks["rank"], return_dtype=pl.Int64, default=None)
    place = rows["source_line"] * _PARTS + (rows["source_part"] - 1)
    return (rank * 2**43 + place).alias(RANK)
