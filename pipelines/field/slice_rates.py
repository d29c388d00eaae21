"""Figure 1 over all other dimensions: failures per 100 unit-years by any of them and by pairs.

Belongs here: the table `slice_rates`, and rates by any dimensions. Does not belong
here: the six dimensions of every figure (`rates`), how days are split (`dimensions`).
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipelines.field.context import FieldContext
from pipelines.field.dimensions import OF_FAILURE, failure_values, split_days
from pipelines.field.happened import of_event
from pipelines.field.poisson import DAYS_PER_YEAR
from pipelines.field.rates import COLUMNS as RATES
from pipelines.field.rates import with_limits
from pipelines.field.slices import ALL, DIMENSIONS, LABELS
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
    own = days_by(context, placed)
    kind = pl.Enum(events)
    failed = pl.concat(
        context.failures.filter(of_event(event)).with_columns(event=pl.lit(event, kind))
        for event in events
    )
    counted = failure_values(failed, dims).group_by("unit", "event", *dims)
    values = pl.DataFrame({"event": pl.Series(events, dtype=kind)}).join(
        _values(context, parted), how="cross"
    )
    return (
        rated_groups(
            own, counted.agg(f=pl.len().cast(pl.Int64)), placed, ["event", *parted], values
        )
        .sort("event", *dims)
        .with_columns(pl.col("event").cast(pl.String))
    )


def days_by(context: FieldContext, placed: Sequence[str]) -> pl.DataFrame:
    """`split_days` of the context, made once for each set of dimensions."""
    key = ("days", tuple(sorted(placed)))
    return context.once(key, lambda: split_days(context.spans, context.units, sorted(placed)))


def _values(context: FieldContext, parted: Sequence[str]) -> pl.DataFrame:
    """Every value of the dimensions of failures that occurs, crossed."""
    every = pl.DataFrame({"_": [0]})
    for name in parted:
        if name == "cause_class":
            words = pl.DataFrame({name: context.classes}, schema={name: pl.String})
        else:
            words = failure_values(context.failures, [name]).select(name).unique()
        every = every.join(words, how="cross")
    return every.drop("_")


def rated_groups(
    own: pl.DataFrame,
    counted: pl.DataFrame,
    placed: Sequence[str],
    parted: Sequence[str],
    values: pl.DataFrame,
) -> pl.DataFrame:
    """Rates with limits of groups of days.

    Args:
        own: unit, `placed`, days.
        counted: unit, `placed`, `parted`, f (failures).
        placed: the dimensions by which days are parted, and failures too.
        parted: those that part the failures only.
        values: the values of `parted` that have rows.
    """
    # Whole days are summed, so that no order of rows shows in the last digit.
    f, days = pl.col("f"), pl.col("days")
    exposed = own.group_by(placed) if placed else own.group_by(pl.lit(0).alias("_"))
    groups = exposed.agg(
        units=pl.len().cast(pl.Int64),
        unit_years=days.sum() / DAYS_PER_YEAR,
        y_y=(days * days).sum() / DAYS_PER_YEAR**2,
    )
    if not placed:
        groups = groups.drop("_")
    happened = (
        counted.join(own, on=["unit", *placed])
        .with_columns(_=pl.lit(0))
        .group_by("_", *placed, *parted)
        .agg(
            failures=f.sum(),
            f_f=(f * f).sum().cast(pl.Float64),
            f_y=(f * days).sum() / DAYS_PER_YEAR,
        )
    )
    table = groups.join(values, how="cross") if parted else groups
    keys = [*placed, *parted]
    table = table.with_columns(_=pl.lit(0)).join(happened, on=["_", *keys], how="left").drop("_")
    table = with_limits(table).drop("f_f", "f_y", "y_y")
    return table.sort(keys) if keys else table


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
