"""Joins in which a row finds one joined row at most: an order and its claim.

Belongs here: the row that is found, copies of it, and rows that differ. Does not belong here: keys
(`join_keys`), sums and firsts (`join_sums`).
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipelines.exports.header_rows import bare
from pipelines.exports.reading import Reading
from pipelines.records.entries import OF_JOIN
from pipelines.records.join_entries import Join
from pipelines.records.join_keys import (
    LINE,
    OF_CELL,
    SOURCE,
    Ends,
    JoinMatches,
    failures,
    is_found,
    no_rows,
    nothing,
    reasons,
)
from pipelines.records.mapping import Mapping


def match(
    mapping: Mapping,
    join: Join,
    rows: pl.DataFrame,
    tables: list[pl.DataFrame],
    readings: Sequence[Reading],
) -> JoinMatches:
    """Rows with the one joined row that each finds.

    Args:
        mapping: the mapping.
        join: a join without sums and firsts.
        rows: SOURCE, LINE and `key` of the rows.
        tables: the joined files by `keyed`.
        readings: these files.
    """
    table = pl.concat(tables) if tables else no_rows([])
    unfound = table.filter(~is_found(rows))
    matched = _with_several(table.filter(is_found(rows)), readings)
    beside = rows.join(_known(matched), on="key", how="left", maintain_order="left")
    by = f"by the join {join.name} of {mapping.name}; keep one of them, or leave the others out"
    way_out, rule = f"{by} under [[join.leave_out]].", "joins_several"
    differing = f"is on several rows that differ and are found {way_out}"
    set_aside = [
        nothing(mapping, join, unfound),
        reasons(matched.filter("several"), rule, differing, join.on[0][1]),
    ]
    return JoinMatches(
        beside.select(
            pl.col(name).alias(f"{join.name}{OF_JOIN}{name.removeprefix(OF_CELL)}")
            for name in table.columns
            if name.startswith(OF_CELL)
        ),
        failures(
            beside.filter(pl.col("several").fill_null(False)),
            rule,
            f"finds several rows that differ {way_out}",
            join,
        ),
        Ends(_ranks(matched, unfound), pl.concat(set_aside)),
    )


def _known(matched: pl.DataFrame) -> pl.DataFrame:
    """One row a key; where its rows differ, only what all of them say."""
    cells = [name for name in matched.columns if name.startswith(OF_CELL)]
    if matched["several"].any():
        agree = [pl.col(name).n_unique().over("key") == 1 for name in cells]
        matched = matched.with_columns(
            pl.when(~pl.col("several") | same).then(pl.col(name)).alias(name)
            for name, same in zip(cells, agree, strict=True)
        )
    return matched.filter("first").select("key", "several", "shown", *cells)


def _ranks(matched: pl.DataFrame, unfound: pl.DataFrame) -> pl.DataFrame:
    rank = (
        pl.when(pl.col("several"))
        .then(Ends.SET_ASIDE)
        .when(pl.col("first"))
        .then(Ends.JOINED)
        .otherwise(Ends.DUPLICATE)
    )
    aside = pl.lit(Ends.SET_ASIDE)
    return pl.concat(
        frame.select(SOURCE, LINE, end.cast(pl.Int8).alias("rank"))
        for frame, end in ((matched, rank), (unfound, aside))
    )


def _with_several(matched: pl.DataFrame, readings: Sequence[Reading]) -> pl.DataFrame:
    """With `several`, whether rows of a key differ, and `first`, whether it is their first."""
    more = matched.filter(pl.col("key").is_duplicated()).select(SOURCE, LINE, "key")
    if more.is_empty():
        return matched.with_columns(several=pl.lit(False), first=pl.lit(True))
    cells = [
        reading.rows.join(more.filter(pl.col(SOURCE) == number), on=LINE, how="inner").select(
            "key", cells=_all_cells(reading.header)
        )
        for number, reading in enumerate(readings)
    ]
    differing = (
        pl.concat(cells)
        .group_by("key")
        .agg(several=pl.col("cells").n_unique() > 1)
        .filter("several")
    )
    return matched.with_columns(
        several=pl.col("key").is_in(differing["key"].implode()),
        first=pl.int_range(pl.len()).over("key") == 0,
    )


def _all_cells(header: Sequence[str]) -> pl.Expr:
    """All cells that are not empty, each with its header, since files may differ in columns."""
    columns = sorted((bare(name), f"c{at}") for at, name in enumerate(header))
    cells = [
        pl.when(pl.col(at) != "").then(pl.concat_str(pl.lit(f"{name}\0"), pl.col(at)))
        for name, at in columns
    ]
    return pl.concat_str(cells, separator="\0\0", ignore_nulls=True)
