"""What became of every row of a joined file, under all joins of a mapping that read it.

Belongs here: one end a row. Does not belong here: how a join finds its rows (`joining`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from pipelines.exports.reading import Reading
from pipelines.records.join_keys import SOURCE, Ends
from pipelines.records.left_out import LEFT_OUT
from pipelines.records.mapping import Mapping
from pipelines.records.reasons import REASON_SCHEMA


@dataclass(frozen=True)
class JoinedRows:
    """What became of the rows of one joined file.

    `left_out` is by `left_out.LEFT_OUT`, whose entries are counted as in `Mapping.entries`;
    `set_aside` by `REASON_SCHEMA`; the others are counts.
    """

    left_out: pl.DataFrame
    set_aside: pl.DataFrame
    joined: int
    duplicates: int


def settle(
    mapping: Mapping, sources: Sequence[tuple[int, int, Reading]], ends: Sequence[Ends]
) -> JoinedRows:
    """What became of the rows of one file or sheet under all joins of a mapping that read it.

    A row that one join takes is joined, whatever others say.

    Args:
        mapping: the mapping.
        sources: which join, the number of the file in it, and the file as the join read it.
        ends: for each join of the mapping what became of its rows.
    """
    of_sources = [
        _of_source(mapping, join, number, reading, ends) for join, number, reading in sources
    ]
    ranks, left_out, reasons = (pl.concat(frames) for frames in zip(*of_sources, strict=True))
    best = ranks.group_by("line").agg(pl.col("rank").min())
    of_rank = {
        rank: best.filter(pl.col("rank") == rank).select("line")
        for rank in (Ends.JOINED, Ends.DUPLICATE, Ends.SET_ASIDE, Ends.LEFT_OUT)
    }
    return JoinedRows(
        left_out.join(of_rank[Ends.LEFT_OUT], on="line", how="semi")
        .unique("line", keep="first", maintain_order=True)
        .sort("line"),
        reasons.join(of_rank[Ends.SET_ASIDE], on="line", how="semi").unique(maintain_order=True),
        of_rank[Ends.JOINED].height,
        of_rank[Ends.DUPLICATE].height,
    )


def _of_source(
    mapping: Mapping, join: int, number: int, reading: Reading, ends: Sequence[Ends]
) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """Ranks, rows left out and reasons of one file under one join."""
    mine = pl.col(SOURCE) == number
    rows, gone, set_aside = (
        frame.filter(mine).drop(SOURCE)
        for frame in (ends[join].rows, ends[join].left_out, ends[join].reasons)
    )
    torn = reading.faults.join(gone, on="line", how="anti")
    ranks = [
        rows.select("line", "rank"),
        torn.select("line", pl.lit(Ends.SET_ASIDE, pl.Int8).alias("rank")).unique(),
        gone.select("line", pl.lit(Ends.LEFT_OUT, pl.Int8).alias("rank")),
    ]
    of_join = [n for n, (of, _) in enumerate(mapping.entries) if of == mapping.joins[join].name]
    first = of_join[0] if of_join else 0
    reasons = pl.concat(
        [
            set_aside.select(list(REASON_SCHEMA)),
            torn.select("line", pl.lit("").alias("column"), "value", "rule", "reason"),
        ]
    )
    left = gone.with_columns(pl.col("entry") + first).select(LEFT_OUT.names())
    return pl.concat(ranks), left, reasons.cast(pl.Schema(REASON_SCHEMA))
