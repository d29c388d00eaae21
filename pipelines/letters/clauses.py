"""The clause that a reason rests on: the condition's number, and the keys of the terms behind it.

Belongs here: how the clause that a condition declares is put. Does not belong here: which keys of
the terms a condition reads, which it says itself (`pipelines.coverage.conditions`).
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.judging import CONDITIONS
from schemas import codes

# Keys that hold one number are told with their value; a list or table is only named.
CLAUSES = {
    name: condition.CLAUSE.terms for name, condition in CONDITIONS.items() if condition.CLAUSE.terms
}
# What the others rest on instead.
RECORDS = {
    name: condition.CLAUSE.records
    for name, condition in CONDITIONS.items()
    if condition.CLAUSE.records is not None
}
_VALUES = {
    key: key.rpartition(".")[2]
    for keys in CLAUSES.values()
    for key in keys
    if key.endswith(("_days", "_months")) and key != "maintenance.cartridge_months"
}
VALUE_COLUMNS = tuple(dict.fromkeys(_VALUES.values()))


def clause() -> pl.Expr:
    """The clause of a finding, such as `Condition 4 of 20, filed in time; terms 2024-A,
    claims.file_within_days = 60`.

    Reads position, condition, edition and VALUE_COLUMNS; without an edition no key is named.
    """
    number = pl.format(
        "Condition {} of {}, {}",
        "position",
        len(codes.CONDITIONS),
        pl.col("condition").str.replace_all("_", " "),
    )
    rests_on = pl.coalesce(
        *(_when(name, _keys(keys)) for name, keys in CLAUSES.items()),
        *(_when(name, pl.lit(words)) for name, words in RECORDS.items()),
    )
    return pl.concat_str(number, rests_on, separator="; ", ignore_nulls=True)


def _when(condition: str, words: pl.Expr) -> pl.Expr:
    return pl.when(pl.col("condition") == condition).then(words)


def _keys(keys: tuple[str, ...]) -> pl.Expr:
    """The edition and its keys; null without an edition."""
    parts = [
        pl.format("{} = {}", pl.lit(key), pl.col(_VALUES[key])) if key in _VALUES else pl.lit(key)
        for key in keys
    ]
    listed = pl.concat_str(parts, separator=", ", ignore_nulls=True)
    return pl.format("terms {}, {}", pl.col("edition"), listed)
