"""The values of every dimension that occur, and conditions held to them.

Belongs here: what occurs. Does not belong here: reading conditions (`conditions`).
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipelines.errors import UsageError
from pipelines.field.conditions import DATES, Condition
from pipelines.field.context import FieldContext
from pipelines.field.dimensions import (
    BANDS,
    OF_FAILURE,
    OF_UNIT,
    failure_values,
    need_of,
    split_months,
)
from pipelines.workspace.toml_file import suggest
from schemas import codes

NOT_COUNTED = (*DATES, *codes.LIMITED_ANALYTES)  # any day and any number may be asked for


def check_values(context: FieldContext, conditions: Sequence[Condition]) -> None:
    """Holds every named value to those that occur.

    Raises:
        UsageError: a value that does not occur, with those nearest to it.
    """
    for condition in conditions:
        if condition.is_range or condition.name in NOT_COUNTED:
            continue
        known = values_of(context, condition.name)
        for value in condition.values:
            if value not in known:
                raise UsageError(
                    f'"{value}" does not occur as {condition.name}; {suggest(value, known)}'
                )


def values_of(context: FieldContext, name: str) -> list[str]:
    """Every value of a dimension that occurs, sorted."""
    if name == "cause_class":
        return sorted(context.classes)
    if name in OF_FAILURE:
        return sorted(failure_values(context.failures, [name])[name].unique())
    if name in OF_UNIT or name == "serial":
        return sorted(context.units[name].unique())
    if name == "need":
        return sorted(context.spans.select(need_of(pl.col("needs")).explode()).to_series().unique())
    if name == "age":
        return list(BANDS)
    if name in ("season", "month_of_year", "year"):
        return sorted(split_months(context.spans)[name].unique())
    return sorted(context.spans[name].unique())
