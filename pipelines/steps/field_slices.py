"""What `limeledger field` asks of the records of the last refresh.

Belongs here: the part of the fleet that is asked for, and figures, comparisons and failures of it.
Does not belong here: any estimate (`pipelines.field`), how it is printed (`pipelines.cli`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import polars as pl

from pipelines.errors import UsageError
from pipelines.field.comparison import Comparison, compare, failures_of_sides, parts_of
from pipelines.field.conditions import Condition, read_conditions
from pipelines.field.context import FieldContext
from pipelines.field.dimension_values import check_values
from pipelines.field.dimensions import ALL_DIMENSIONS
from pipelines.field.failures import field_failures
from pipelines.field.figures import FIGURES
from pipelines.field.happened import of_event
from pipelines.field.narrowing import narrow
from pipelines.field.poisson import DAYS_PER_YEAR
from pipelines.field.selection import select
from pipelines.field.slice_rates import rates_by
from pipelines.field.slices import ALL, DIMENSIONS, LABELS, ordered
from pipelines.steps.figures import field_context, one_thread_a_matrix, shaped
from pipelines.steps.units import watched_units
from pipelines.store.database import read_frame
from pipelines.store.inputs import load_inputs
from pipelines.store.published_state import state_of
from pipelines.store.reading import open_store
from pipelines.workspace.layout import Workspace
from pipelines.workspace.toml_file import suggest
from schemas import codes
from schemas.columns import column_names, polars_schema
from schemas.field import FIELD_TABLES
from schemas.wording import counted, number

MOST_DIMENSIONS = 4


@dataclass(frozen=True)
class FleetSelection:
    """The part of the fleet that is asked for."""

    where: Sequence[str] = ()
    family: str | None = None
    cause_class: str | None = None
    since: dt.date | None = None
    until: dt.date | None = None

    def of(self, context: FieldContext) -> FieldContext:
        """The fleet narrowed to it.

        Raises:
            UsageError: a condition that is none, or a value that does not occur.
        """
        conditions = read_conditions(self.where)
        family = [Condition("family", (self.family,))] if self.family else []
        check_values(context, [*conditions, *family])
        return narrow(
            select(context, conditions),
            families=[self.family] if self.family else (),
            classes=[self.cause_class] if self.cause_class else (),
            since=self.since,
            until=self.until,
        )


def stored_context(folder: str | Path) -> FieldContext:
    """The whole fleet, from the records of the last refresh and as of its day.

    Raises:
        WorkspaceError: nothing has been refreshed yet.
    """
    workspace = Workspace.open(folder)
    with open_store(workspace) as con:
        state = state_of(con)
        inputs = load_inputs(folder, state.as_of if state else None)
        return field_context(watched_units(inputs, con), con, inputs)


def dimensions_of(figure: str, by: Sequence[str]) -> tuple[str, ...]:
    """The dimensions by which a figure is asked for.

    Raises:
        UsageError: there is no such figure or dimension, or there are more than four.
    """
    if figure not in FIGURES:
        raise UsageError(f'"{figure}" is no figure; {suggest(figure, sorted(FIGURES))}')
    if figure != "rates":
        return ordered(by)
    for name in by:
        if name not in ALL_DIMENSIONS:
            raise UsageError(
                f'--by knows no "{name}"; {suggest(name, ALL_DIMENSIONS)} Several are joined by '
                "commas."
            )
    if len(set(by)) > MOST_DIMENSIONS:
        raise UsageError(f"--by takes {MOST_DIMENSIONS} dimensions at most.")
    plain = all(name in DIMENSIONS for name in by)
    return ordered(by) if plain else tuple(dict.fromkeys(by))


def figure_rows(
    context: FieldContext, figure: str, dims: Sequence[str], event: str | None = None
) -> pl.DataFrame:
    """One figure; rates by dimensions beside the six have them as columns of their names."""
    with one_thread_a_matrix():
        if figure != "rates" or (event is None and all(name in DIMENSIONS for name in dims)):
            rows = FIGURES[figure](context, tuple(dims))
            rows = shaped(rows, polars_schema(FIELD_TABLES[figure]))
        else:
            rows = _rates(context, dims, event or "any")
    if event is not None and figure != "rates":
        if "event" not in rows.columns:
            raise UsageError(f"{figure} has no event; leave --event out.")
        known = sorted(rows["event"].unique())
        if event not in known:
            raise UsageError(f'"{event}" is no event of {figure}; {suggest(event, known)}')
        rows = rows.filter(pl.col("event") == event)
    return rows


def _rates(context: FieldContext, dims: Sequence[str], event: str) -> pl.DataFrame:
    of_kind(context, event)  # held to the events that there are
    table = rates_by(context, dims, event)
    floats = [name for name, kind in table.schema.items() if kind.is_float()]
    table = table.with_columns(  # what cannot be estimated is null, also in a CSV
        pl.when(pl.col(name).is_finite()).then(pl.col(name)).alias(name) for name in floats
    )
    labels = {"by": pl.lit(",".join(dims) or ALL)}
    labels |= {name: pl.col(name) if name in dims else pl.lit(ALL) for name in DIMENSIONS}
    more = [name for name in dims if name not in DIMENSIONS]
    own = [name for name in column_names(FIELD_TABLES["rates"]) if name not in LABELS]
    return table.select(*(word.alias(name) for name, word in labels.items()), *more, *own)


def stored_sentence(
    folder: str | Path, figure: str, dims: Sequence[str], event: str | None
) -> str | None:
    """What the figure says on the page, for the whole fleet; None where it says nothing there."""
    with open_store(Workspace.open(folder)) as con:
        sentences = read_frame(con, "field_sentences")
    plain = figure != "rates" or all(name in DIMENSIONS for name in dims)
    own = sentences.filter(
        pl.col("figure") == (figure if plain else "slice_rates"),
        pl.col("event").is_in([event] if event else ["any", ALL]),
    )
    sliced = own.filter(pl.col("by") == (",".join(dims) or ALL))
    if sliced.is_empty() and not dims and own.height == 1:
        sliced = own  # of a figure that goes by its own dimensions, such as alarms
    return str(sliced["sentence"][0]) if sliced.height else None


def amount_of(context: FieldContext) -> str:
    """How many failures and how much time were selected, as a sentence."""
    years = float((context.spans["exit"] - context.spans["entry"]).sum()) / DAYS_PER_YEAR
    rate = 100 * context.failures.height / years if years else None
    return (
        f"{counted(context.failures.height, 'failure')} in {number(years, 4)} unit-years: "
        f"{number(rate)} per 100 unit-years."
    )


def compared(
    context: FieldContext,
    first: str,
    second: str | None,
    event: str | None = None,
    whole: FieldContext | None = None,
) -> Comparison:
    """Two selections against each other, of one kind of failure; without the second, against all
    other days. A value need occur in the `whole` fleet alone that the context was selected from."""
    sides = _sides(whole or context, first, second)
    parts = parts_of(of_kind(context, event), *sides)
    return compare(parts, first, second or "all other days")


def behind_both(
    context: FieldContext, first: str, second: str | None, whole: FieldContext | None = None
) -> FieldContext:
    """The context with the failures of either side of a comparison alone."""
    one, other = failures_of_sides(context, *_sides(whole or context, first, second)).values()
    return replace(context, failures=context.failures.filter(one | other))


def _sides(
    context: FieldContext, first: str, second: str | None
) -> tuple[list[Condition], list[Condition] | None]:
    """What is asked of each side, held to the values that occur."""
    sides = [read_conditions(text.split(",")) for text in (first, second) if text is not None]
    for side in sides:
        check_values(context, side)
    return sides[0], sides[1] if second is not None else None


def of_kind(context: FieldContext, event: str | None) -> FieldContext:
    """The same with the failures of one kind alone.

    Raises:
        UsageError: there is no such event.
    """
    if event in (None, "any"):
        return context
    known = {"any", "water", *codes.CAUSE_CLASSES, *context.classes}  # also of no failure yet
    if event not in known:
        raise UsageError(f'"{event}" is no event; {suggest(event, known)}')
    return replace(context, failures=context.failures.filter(of_event(event)))


def failures_behind(
    context: FieldContext, event: str | None, whole: FieldContext | None = None
) -> pl.DataFrame:
    """The failures of a selection, as they stand in `field_failures`.

    `whole` is the fleet that it was selected from: a unit's first failure is its first of all.
    """
    rows = shaped(field_failures(whole or context), polars_schema(FIELD_TABLES["field_failures"]))
    own = of_kind(context, event).failures.select("call")
    return rows.join(own, on="call", how="semi", maintain_order="left")
