"""Whether all rows of a frame fit their table's class, asked in one pass over its columns.

Belongs here: the rules that our classes declare, as polars expressions. Does not belong here: what
does not fit, which the class itself tells (`pipelines.store.table_writer`).

pandera asks polars for each rule of each column alone, and copies the class before: for a table of
a few rows that takes a hundred times as long as the answer.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import polars as pl

from schemas.columns import Table, fields, polars_schema

# By pandera's name of a check: whether the values fit, from its statistics; null wherever null is.
_RULES: dict[str, Callable[[pl.Expr, dict[str, Any]], pl.Expr]] = {
    "isin": lambda column, arguments: column.is_in(list(arguments["allowed_values"])),
    "greater_than_or_equal_to": lambda column, arguments: column >= arguments["min_value"],
    "greater_than": lambda column, arguments: column > arguments["min_value"],
    "less_than_or_equal_to": lambda column, arguments: column <= arguments["max_value"],
    "str_matches": lambda column, arguments: column.str.contains(f"^(?:{arguments['pattern']})"),
}


def surely_fits(frame: pl.DataFrame, table: type[Table]) -> bool:
    """Whether every row fits; False also where only the class itself can say that.

    Args:
        frame: with exactly the columns of the class, in its order.
        table: a class with a rule that is none of `_RULES` is left to pandera.
    """
    rules = _rules(table)
    if rules is None or frame.schema != polars_schema(table):
        return False
    return not rules or all(frame.select(rules).row(0))


@cache
def _rules(table: type[Table]) -> list[pl.Expr] | None:
    """One expression a rule, each true where all rows obey it; None where one is not known."""
    schema = table.to_schema()
    if schema.checks or schema.unique or schema.coerce:
        return None
    rules: list[pl.Expr] = []
    for name, kind in polars_schema(table).items():
        declared, column = fields(table)[name], pl.col(name)
        if declared.unique or declared.coerce:
            return None
        if not declared.nullable:
            rules.append(column.is_not_null().all())
            if kind.is_float():
                rules.append(column.is_not_nan().all())  # no number is no value
        for check in declared.checks:
            rule = _RULES.get(check.name or "")
            if rule is None or not check.ignore_na:
                return None
            rules.append(rule(column, check.statistics).all())
    return [rule.alias(str(place)) for place, rule in enumerate(rules)]
