"""Rows put over records and beside them.

Belongs here: the three moves that all changes are made of. Does not belong here: any kind of fact.
"""

from __future__ import annotations

import polars as pl


def facts_of(facts: pl.DataFrame, kind: str) -> pl.DataFrame:
    """The facts of one kind."""
    return facts.filter(pl.col("kind") == kind)


def any_of(facts: pl.DataFrame, *kinds: str) -> bool:
    """Whether any fact is of one of these kinds; what none touches stays as it is."""
    return bool(facts.get_column("kind").is_in(kinds).any())


def overlaid(
    records: pl.DataFrame, facts: pl.DataFrame, on: str, column: str, value: str = "day"
) -> pl.DataFrame:
    """Records with `value` of the facts in the place of what a column held."""
    if facts.is_empty():
        return records
    new = facts.select(on, _new=value).unique(on)
    joined = records.join(new, on=on, how="left", maintain_order="left")
    return joined.with_columns(pl.coalesce("_new", column).alias(column)).drop("_new")


def added(records: pl.DataFrame, rows: pl.DataFrame) -> pl.DataFrame:
    """Records with rows of some of their columns, as records of a hypothesis."""
    if rows.is_empty():
        return records
    rows = rows.with_columns(
        source_file=pl.lit("hypothesis"),
        source_line=pl.lit(0, pl.Int64),
        source_sheet=pl.lit(""),
    )
    kinds = pl.Schema({name: records.schema[name] for name in rows.columns})
    return pl.concat([records, rows.cast(kinds)], how="diagonal")
