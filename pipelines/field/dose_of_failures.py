"""In which bin of each limit a failure's water was: what parts the dots of dose-response.

Belongs here: the column `dose` of `field_failures`. Does not belong here: the bins and their rates
(`dose_bins`).
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.dose_bins import bins_of
from pipelines.field.doses import Dose, doses, failures_at

UNPROTECTED = ":unprotected"
_PLACED = pl.Schema(
    {"row": pl.Int64(), "limit": pl.String(), "bin": pl.Int64(), "mark": pl.String()}
)


def dose_of_failures(context: FieldContext) -> pl.DataFrame:
    """One row a failure: call, dose.

    `dose` is a list, one element an analyte and limit that is looked at for the unit's family:
    `hardness_mg_l_caco3/60:5`, with `:unprotected` behind it where no installed system guards.
    """
    limits: dict[tuple[str, float], list[Dose]] = {}
    for dose in doses(context):
        limits.setdefault((dose.analyte, dose.limit), []).append(dose)
    placed = pl.concat(
        [pl.DataFrame(schema=_PLACED), *(_of_limit(context, own) for own in limits.values())]
    )
    worded = (
        placed.select("row", word=pl.format("{}:{}{}", "limit", "bin", "mark"))
        .sort("row", "word")
        .group_by("row", maintain_order=True)
        .agg(dose="word")
    )
    none = pl.lit([], pl.List(pl.String))
    return (
        context.failures.select("call", row=pl.int_range(pl.len()))
        .join(worded, on="row", how="left", maintain_order="left")
        .select("call", pl.col("dose").fill_null(none))
    )


def _of_limit(context: FieldContext, same: list[Dose]) -> pl.DataFrame:
    """The failures of all families that are judged by one analyte and limit, each once."""
    parts = [failures_at(context, dose) for dose in same]
    row = np.concatenate([part.laid.row for part in parts])
    _, once = np.unique(row, return_index=True)
    value, guarded = (np.concatenate([part[place] for part in parts])[once] for place in (1, 2))
    marks = np.where(guarded, "", UNPROTECTED)
    return pl.DataFrame(
        {
            "row": row[once],
            "limit": [f"{same[0].analyte}/{same[0].limit:g}"] * len(once),
            "bin": bins_of(value, same[0].limit),
            "mark": marks.tolist(),
        },
        schema=_PLACED,
    )
