"""In which bin of each limit a failure's water was: what parts the dots of dose-response.

Belongs here: the column `dose` of `field_failures`. Does not belong here: the bins and their rates
(`dose_bins`).
"""

from __future__ import annotations

import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.dose_bins import bin_of
from pipelines.field.doses import Dose, dosed_failures, doses

UNPROTECTED = ":unprotected"


def dose_of_failures(context: FieldContext) -> pl.DataFrame:
    """One row a failure: call, dose.

    `dose` is a list, one element an analyte and limit that is looked at for the unit's family:
    `hardness_mg_l_caco3/60:5`, with `:unprotected` behind it where no installed system guards.
    """
    failures = context.failures.select("call", "age").sort("age")
    limits: dict[tuple[str, float], list[Dose]] = {
        (dose.analyte, dose.limit): [] for dose in doses(context)
    }
    for dose in doses(context):
        limits[dose.analyte, dose.limit].append(dose)
    parts = [_of_limit(context, own) for own in limits.values()]
    if not parts:
        return failures.select("call", dose=pl.lit([], pl.List(pl.String)))
    placed = pl.concat(parts).sort("call", "word").group_by("call").agg(dose="word")
    return (
        failures.select("call")
        .join(placed, on="call", how="left")
        .select("call", pl.col("dose").fill_null(pl.lit([], pl.List(pl.String))))
    )


def _of_limit(context: FieldContext, same: list[Dose]) -> pl.DataFrame:
    """The failures of all families that are judged by one analyte and limit, each once."""
    limit = same[0].limit
    own = pl.concat([dosed_failures(context, dose) for dose in same]).unique("call")
    word = pl.format(f"{same[0].analyte}/{limit:g}:{{}}", bin_of(limit))
    mark = pl.when("protected").then(pl.lit("")).otherwise(pl.lit(UNPROTECTED))
    return own.select("call", word=pl.concat_str(word, mark))
