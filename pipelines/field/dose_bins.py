"""Figure 10, by bins: failures by how far an analyte of the day is from its limit.

Belongs here: the table `dose_bins`. Does not belong here: which analytes, families and classes are
looked at (`doses`), curve and change point (`dose_curve`, `dose_step`).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.doses import Dose, days_at, doses, failures_at
from pipelines.field.happened import which_are
from pipelines.field.poisson import DAYS_PER_YEAR
from pipelines.field.rates import COLUMNS as RATES
from pipelines.field.rates import with_limits
from pipelines.field.slices import ALL, LABELS

COLUMNS = (
    "analyte",
    "event",
    "days",
    "limit",
    "bin",
    "value_from",
    "value_to",
    *RATES,
)
# The shares of the limit at which bins end, the end included; the last has none.
EDGES = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0, 5.0)
BINS = len(EDGES) + 1
UNKNOWN_BIN = 0
DAYS = ("all", "unprotected")
_COUNTED = pl.Schema(
    {
        **dict.fromkeys(("family", "analyte", "event", "days"), pl.String()),
        "limit": pl.Float64(),
        **dict.fromkeys(("bin", "failures", "units"), pl.Int64()),
        **dict.fromkeys(("unit_years", "f_f", "f_y", "y_y"), pl.Float64()),
    }
)


def bins_of(value: np.ndarray, limit: float) -> np.ndarray:
    """The bin of a value, or of a non-detect's bound within the limit; 0 where not known."""
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(value == 0, 0.0, np.round(value / limit, 9))
    return np.where(np.isnan(value), UNKNOWN_BIN, np.searchsorted(EDGES, share) + 1)


def dose_bins(context: FieldContext) -> pl.DataFrame:
    """Rates by bin, on all days and on those that no system protects."""
    rows = [row for dose in doses(context) for row in _of_dose(context, dose)]
    table = with_limits(pl.DataFrame(rows, schema=_COUNTED, orient="row"))
    return _labelled(table).sort("analyte", "family", "event", "days", "bin")


def bins_of_dose(context: FieldContext, dose: Dose) -> pl.DataFrame:
    """The rows of one dose, also of a limit that the terms do not set."""
    return _labelled(with_limits(pl.DataFrame([*_of_dose(context, dose)], _COUNTED, orient="row")))


def _of_dose(context: FieldContext, dose: Dose) -> Iterator[tuple[object, ...]]:
    """Rows of `_COUNTED`: of each event, on all days and on the unprotected ones once more."""
    watched, failed = days_at(context, dose), failures_at(context, dose)
    cells = [
        part.laid.unit * (BINS + 1) + bins_of(part.value, dose.limit) for part in (watched, failed)
    ]
    size = int(cells[0].max(initial=-1)) // (BINS + 1) * (BINS + 1) + BINS + 1
    for name in DAYS:
        of_days, of_failures = (
            np.ones(len(part.value), bool) if name == "all" else ~part.protected
            for part in (watched, failed)
        )
        days = np.bincount(cells[0][of_days], watched.laid.days[of_days], minlength=size)
        some = np.flatnonzero(days)  # a unit is in few of the bins
        units, y, y_y = (
            np.bincount(some % (BINS + 1), weight, minlength=BINS + 1)
            for weight in (None, days[some], days[some] ** 2)
        )
        sums = y / DAYS_PER_YEAR, y_y / DAYS_PER_YEAR**2
        for event in dose.events:
            own = of_failures & which_are(context, event)[failed.laid.row]
            cell, count = np.unique(cells[1][own], return_counts=True)
            count = np.where(days[cell] > 0, count, 0)
            f, f_f, f_y = (
                np.bincount(cell % (BINS + 1), weight, minlength=BINS + 1)
                for weight in (count, count * count, count * days[cell])
            )
            for place in np.flatnonzero(units).tolist():
                yield (
                    *(dose.family, dose.analyte, event, name, dose.limit, place),
                    *(int(f[place]), int(units[place]), float(sums[0][place])),
                    *(float(f_f[place]), float(f_y[place]) / DAYS_PER_YEAR, float(sums[1][place])),
                )


def _labelled(table: pl.DataFrame) -> pl.DataFrame:
    edges = [float("nan"), 0.0, *EDGES]
    edge_of = pl.col("bin").replace_strict(dict(enumerate(edges)), return_dtype=pl.Float64)
    ends = [float("nan"), *EDGES, float("nan")]
    end_of = pl.col("bin").replace_strict(dict(enumerate(ends)), return_dtype=pl.Float64)
    floats = ("unit_years", *RATES[3:])
    labels = {name: pl.lit(ALL) for name in LABELS}
    labels["by"] = pl.when(pl.col("family") == ALL).then(pl.lit(ALL)).otherwise(pl.lit("family"))
    columns = {
        **labels,
        "family": pl.col("family"),
        "value_from": (edge_of * pl.col("limit")).round(9).fill_nan(None),
        "value_to": (end_of * pl.col("limit")).round(9).fill_nan(None),
        **{name: pl.when(pl.col(name).is_finite()).then(pl.col(name)) for name in floats},
    }
    return table.select(
        **{name: columns.get(name, pl.col(name)) for name in (*LABELS, *COLUMNS, "thin", "note")}
    )
