"""Figure 1 over all other dimensions: failures per 100 unit-years by any of them and by pairs.

Belongs here: the table `slice_rates`, and rates by any dimensions. Does not belong
here: the six dimensions of every figure (`rates`), how days are split (`unit_days`).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.dimensions import OF_FAILURE, failure_values, numbered_failures
from pipelines.field.happened import which_are
from pipelines.field.placed_days import Placed
from pipelines.field.poisson import DAYS_PER_YEAR
from pipelines.field.rates import COLUMNS as RATES
from pipelines.field.rates import with_limits
from pipelines.field.slices import ALL, DIMENSIONS, LABELS
from pipelines.field.unit_days import placed_by
from schemas import codes

COLUMNS = ("dimension_1", "value_1", "dimension_2", "value_2", "event", *RATES)
SINGLE = (
    "model",
    "cold_supply",
    "entry",
    "shipped",
    "lot",
    "need",
    "needs",
    "severity",
    "product",
    "installation",
    "season",
    "month_of_year",
    "year",
    "age",
    "cause",
    "part",
)
PAIRS = (
    ("need", "cause_class"),
    ("needs", "cause_class"),
    ("need", "family"),
    ("need", "product"),
    ("season", "cold_supply"),
    ("model", "cause"),
    ("entry", "cause_class"),
    ("shipped", "cause_class"),
    ("lot", "cause_class"),
    ("installation", "cause_class"),
)


def slice_rates(context: FieldContext) -> pl.DataFrame:
    """The promised slices, for all failures and for water-caused ones.

    Every group in which a unit was watched for a day has its row, crossed with the classes, causes
    or parts that occur. Rows by `need` overlap: a day with two needs stands in both.
    """
    slices = (*((name,) for name in SINGLE), *PAIRS)
    return pl.concat(
        _labelled(rates_of_events(context, dims, codes.EVENTS), dims) for dims in slices
    )


def rates_by(context: FieldContext, dims: Sequence[str], event: str = "any") -> pl.DataFrame:
    """Rates by any dimensions of unit, day and failure.

    Args:
        context: the fleet, or a part of it.
        dims: of `dimensions.ALL_DIMENSIONS`; causes and parts part the failures only, units and
            unit-years stay everyone's.
        event: any, water or a cause class.

    Returns:
        dims, `rates.COLUMNS`, thin and note, sorted by dims.
    """
    return rates_of_events(context, dims, [event]).drop("event")


def rates_of_events(
    context: FieldContext, dims: Sequence[str], events: Sequence[str]
) -> pl.DataFrame:
    """The same for several events, with `event`, in their order and sorted by dims in each."""
    placed = [name for name in dims if name not in OF_FAILURE]
    parted = [name for name in dims if name in OF_FAILURE]
    own, values = placed_by(context, placed), _values(context, parted)
    if not placed and not own.groups.height:  # nobody was watched: the whole has its row
        own = own._replace(groups=pl.DataFrame({"_": [0]}))
    failed = _placed_failures(context, dims, own, values.with_row_index("value"))
    at = own.at(failed["unit"].to_numpy(), failed["group"].to_numpy())
    failed = failed.select("row", "value", place=pl.Series(at))
    cells = own.groups.with_row_index("group").drop("_", strict=False)
    cells = cells.join(values, how="cross", maintain_order="left_right").drop("group", "_")
    tables = []
    for event in events:
        happened = failed.filter(pl.Series(which_are(context, event)[failed["row"].to_numpy()]))
        table = with_limits(cells.with_columns(**_counts(own, happened, values.height)))
        table = table.with_columns(event=pl.lit(event))
        tables.append(table.sort(dims) if dims else table)
    return pl.concat(tables)


def _placed_failures(
    context: FieldContext, dims: Sequence[str], own: Placed, values: pl.DataFrame
) -> pl.DataFrame:
    """Unit, row, group and value of each failure, once for each of its needs."""
    rows = numbered_failures(context.failures, dims).with_columns(_=0)
    groups = own.groups.with_row_index("group").with_columns(_=0)
    return (
        rows.join(groups, on=["_", *(name for name in dims if name in own.groups.columns)])
        .join(values, on=["_", *(name for name in dims if name in values.columns)])
        .select(pl.col("unit", "row", "group", "value").cast(pl.Int64))
    )


def _counts(own: Placed, happened: pl.DataFrame, values: int) -> dict[str, pl.Series]:
    """Columns of groups x values: units, unit_years, failures, and what their limits ask.

    `happened` has the place of each failure in `own`, and its value.
    Whole days are summed, so that no order of rows shows in the last digit.
    """
    groups = own.groups.height
    place, value = (happened[name].to_numpy() for name in ("place", "value"))
    watched = place >= 0
    pair, count = np.unique(place[watched] * values + value[watched], return_counts=True)
    place, value = np.divmod(pair, max(values, 1))
    cell, days = own.group[place] * values + value, own.days[place]

    def summed(weight: np.ndarray) -> np.ndarray:
        return np.bincount(cell, weight, minlength=groups * values)

    def of_all(weight: np.ndarray | None = None) -> np.ndarray:
        return np.repeat(np.bincount(own.group, weight, minlength=groups), values)

    columns = {
        "units": of_all(),
        "unit_years": of_all(own.days) / DAYS_PER_YEAR,
        "y_y": of_all(own.days.astype(float) ** 2) / DAYS_PER_YEAR**2,
        "failures": summed(count).astype(np.int64),
        "f_f": summed(count**2),
        "f_y": summed(count * days) / DAYS_PER_YEAR,
    }
    return {name: pl.Series(values) for name, values in columns.items()}


def days_by(context: FieldContext, placed: Sequence[str]) -> pl.DataFrame:
    """unit, the dimensions, days: one row a unit and group in which it is watched for a day."""
    return placed_by(context, placed).frame()


def _values(context: FieldContext, parted: Sequence[str]) -> pl.DataFrame:
    """Every value of the dimensions of failures that occurs, crossed, beside the constant `_`."""
    every = pl.DataFrame({"_": [0]}, schema={"_": pl.Int32})
    for name in parted:
        if name == "cause_class":
            words = pl.DataFrame({name: context.classes}, schema={name: pl.String})
        else:
            words = failure_values(context.failures, [name]).select(name).unique()
        every = every.join(words, how="cross")
    return every


def _labelled(table: pl.DataFrame, dims: Sequence[str]) -> pl.DataFrame:
    first, second = dims[0], dims[1] if len(dims) > 1 else None
    columns = {
        "by": pl.lit(",".join(dims)),
        **{name: pl.col(name) if name in dims else pl.lit(ALL) for name in DIMENSIONS},
        "dimension_1": pl.lit(first),
        "value_1": pl.col(first),
        "dimension_2": pl.lit(second or ALL),
        "value_2": pl.col(second) if second else pl.lit(ALL),
    }
    names = (*LABELS, *COLUMNS, "thin", "note")
    floats = ("unit_years", *RATES[3:])
    expressions = {name: columns.get(name, pl.col(name)) for name in names}
    for name in floats:
        expressions[name] = pl.when(pl.col(name).is_finite()).then(pl.col(name))
    return table.select(**expressions)
