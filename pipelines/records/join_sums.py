"""Joins in which a row finds any number of joined rows: a claim and its lines.

Belongs here: exact sums, the first of several, and numbers that cannot be read. Does not belong
here: keys (`join_keys`), one row for a row (`join_matches`).
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

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
from pipelines.records.numerals import Marks, plain_digits
from pipelines.records.steps import trimmed

_DECIMALS, _DIGITS = 12, 18  # behind and before the decimal mark; a sum of any rows is exact


def make_headers(
    mapping: Mapping, join: Join, rows: pl.DataFrame, tables: list[pl.DataFrame]
) -> JoinMatches:
    """Rows with the sums and firsts of the joined rows that each finds.

    Sums are exact, and null where a row finds none; 0 where none of those it finds counts.

    Args:
        mapping: the mapping.
        join: a join with sums or firsts.
        rows: SOURCE, LINE and `key` of the rows.
        tables: the joined files by `keyed`.
    """
    made = [f"{kind} {n}" for n in range(len(join.made)) for kind in ("takes", "cell")]
    table = pl.concat(tables) if tables else no_rows(made)
    sums = [n for n, one in enumerate(join.made) if one.is_sum]
    table, scale = _with_numbers(table, sums, join.marks)
    table = _with_ends(table, is_found(rows), sums, len(join.made))
    known = _known(mapping, join, table, scale)
    beside = rows.join(known, on="key", how="left", maintain_order="left")
    remark = (
        f"joins a row of the join {join.name} of {mapping.name} whose number cannot be read, so "
        "that a sum would lack it; correct that number, which is set aside too."
    )
    rank = pl.when(pl.col("end").is_null()).then(Ends.JOINED).otherwise(Ends.SET_ASIDE)
    aside = [
        nothing(mapping, join, table.filter(pl.col("end") == "joins_nothing")),
        *(_bad_numbers(mapping, join, table, n) for n in sums),
        _nowhere(mapping, join, table.filter(pl.col("end") == "joined_nowhere")),
    ]
    return JoinMatches(
        beside.select(
            pl.when(~pl.col("bad"))
            .then(pl.col(OF_CELL + one.name))
            .alias(f"{join.name}{OF_JOIN}{one.name}")
            for one in join.made
        ),
        failures(
            beside.filter(pl.col("bad").fill_null(False)), "joined_row_unreadable", remark, join
        ),
        Ends(
            table.select(SOURCE, LINE, rank.cast(pl.Int8).alias("rank")),
            pl.concat(aside),
        ),
    )


def _with_ends(
    table: pl.DataFrame, is_matched: pl.Expr, sums: Sequence[int], made: int
) -> pl.DataFrame:
    """With `end`, the rule that sets a joined row aside; null where none does."""
    unreadable = pl.any_horizontal(pl.lit(False), *(pl.col(f"bad {n}") for n in sums))
    takes = pl.any_horizontal(pl.col(f"takes {n}") for n in range(made))
    return table.with_columns(
        end=pl.when(~is_matched)
        .then(pl.lit("joins_nothing"))
        .when(unreadable)
        .then(pl.lit("number"))
        .when(~takes)
        .then(pl.lit("joined_nowhere"))
    )


def _known(mapping: Mapping, join: Join, table: pl.DataFrame, scale: int) -> pl.DataFrame:
    """One row a key: what the join makes, and whether a number of its rows is `bad`."""
    values = []
    for n, one in enumerate(join.made):
        taken = pl.col(f"takes {n}")
        value = pl.col(f"cell {n}").filter(taken).first()
        if one.is_sum:
            total = pl.col(f"number {n}").filter(taken).sum()
            value = _written(total, scale, mapping.marks)
        values.append(value.alias(OF_CELL + one.name))
    bad = (pl.col("end") == "number").fill_null(False)
    return (
        table.filter((pl.col("end") != "joins_nothing").fill_null(True))
        .group_by("key")
        .agg(*values, bad=bad.any(), shown=pl.col("shown").filter(bad).first())
    )


def _with_numbers(
    table: pl.DataFrame, sums: Sequence[int], marks: Marks
) -> tuple[pl.DataFrame, int]:
    """`number n` and `bad n` of each sum, and how many decimals they have."""
    digits = {
        n: plain_digits(pl.when(pl.col(f"takes {n}")).then(trimmed(pl.col(f"cell {n}"))), marks)
        for n in sums
    }
    table = table.with_columns(text.alias(f"digits {n}") for n, text in digits.items())
    for n in sums:
        text = pl.col(f"digits {n}")
        long = text.str.contains(rf"^[+-]?0*[0-9]{{{_DIGITS + 1},}}|\.[0-9]{{{_DECIMALS + 1},}}")
        table = table.with_columns(pl.when(~long).then(text).alias(f"digits {n}"))
    decimals = [
        table[f"digits {n}"].str.extract(r"\.([0-9]*)$", 1).str.len_chars().max() for n in sums
    ]
    scale = max((int(str(one)) for one in decimals if one is not None), default=0)
    kind = pl.Decimal(38, scale)
    table = table.with_columns(
        pl.col(f"digits {n}").cast(kind, strict=False).alias(f"number {n}") for n in sums
    )
    return table.with_columns(
        (
            pl.col(f"takes {n}")
            & (trimmed(pl.col(f"cell {n}")).is_not_null())
            & pl.col(f"number {n}").is_null()
        ).alias(f"bad {n}")
        for n in sums
    ), scale


def _written(number: pl.Expr, scale: int, marks: Marks) -> pl.Expr:
    """A sum as the mapping reads numbers, without idle zeros."""
    text = number.cast(pl.String)
    if scale:
        text = text.str.strip_chars_end("0").str.strip_chars_end(".")
    return text.str.replace(".", marks.decimal, literal=True)


def _nowhere(mapping: Mapping, join: Join, rows: pl.DataFrame) -> pl.DataFrame:
    remark = (
        f"stands on a row that no sum and no first of the join {join.name} of {mapping.name} "
        "takes; name it in one of them, or leave it out under [[join.leave_out]]."
    )
    return reasons(rows, "joined_nowhere", remark, join.on[0][1])


def _bad_numbers(mapping: Mapping, join: Join, table: pl.DataFrame, n: int) -> pl.DataFrame:
    """The rows whose number cannot be read, under the feed's column that takes the sum."""
    made, header = f"{join.name}{OF_JOIN}{join.made[n].name}", join.made[n].header
    column = next((name for name, header in mapping.columns.items() if header == made), "")
    wrong = table.filter((pl.col("end") == "number") & pl.col(f"bad {n}")).with_columns(
        shown=pl.col(f"cell {n}")
    )
    unsure = pl.col("shown").str.contains(join.marks.single_group)
    rule = pl.when(unsure).then(pl.lit("ambiguous_number")).otherwise(pl.lit("number"))
    by = f"which the join {join.name} of {mapping.name} would add up"
    other = "," if join.marks.decimal == "." else "."
    is_other = plain_digits(trimmed(pl.col("shown")), Marks(other)).is_not_null()
    ways = (
        (is_other, f'name its decimal mark in the join, decimal = "{other}", or correct it there'),
        (~is_other, "correct it at the source"),
    )
    return pl.concat(
        reasons(wrong.filter(these), rule, f"is no number, {by}; {way}.", header, column)
        for these, way in ways
    )
