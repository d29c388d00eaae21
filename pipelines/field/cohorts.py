"""Figure 5: quarters of entry by months in service, as failures per unit still watched.

Belongs here: the table `cohorts`. Does not belong here: the estimator (`mean_cumulative`), how long
reports take (`reporting_lag`).

Failures over all units that entered would mislead, since cover ends at different ages.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field.cohort_course import Quarters, projections
from pipelines.field.context import FLEET, FieldContext
from pipelines.field.counted_episodes import Events
from pipelines.field.ends import shown
from pipelines.field.mean_cumulative import Mean, means_at_months
from pipelines.field.rates import grid
from pipelines.field.reporting_lag import lag_law, share_reported
from pipelines.field.risk_sets import (
    MONTH_AGES,
    happened_by_months,
)
from pipelines.field.slices import NO_EXPOSURE, Slice, labelled, thin
from schemas import codes

COLUMNS = (
    "cohort",
    "event",
    "months",
    "units",
    "at_risk",
    "failures",
    "mean_per_100",
    "mean_low",
    "mean_high",
    "completed_per_100",
    "completed_low",
    "completed_high",
    "completed_low_80",
    "completed_high_80",
    "immature",
    "projected",
    "shown",
)
REPORTED_SHARE = 0.95  # of the failures of an age, from which on the age counts as mature
# No reported failure stands for more than ten, however fresh it is.
_LEAST_SHARE_REPORTED = 0.1
Z_80 = 1.2815515655446004
_NO_REFERENCE = (
    "cannot be projected, because fewer than 10 units of one of its families have reached this age"
)
_NO_LIMITS = "limits cannot be estimated, because there was no failure by then"


def cohorts(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """100 x the mean cumulative failures a unit of each quarter of entry, for one slice.

    Nelson's estimator with robust limits at whole months, as long as a unit of the quarter is at
    risk. An age is immature where a call may still come: where age and the 95th percentile of the
    time to the call reach past the as-of date for a unit of the quarter. Up to such ages the mean
    is completed: each failure counts 1 / the share of failures that are reported after so many
    days. `shown` ends with the last month at which 20 units and 5 % of the quarter's are at risk.
    Months beyond it that the quarter has not reached are projected (`cohort_projection`), as far as
    its units are covered; not where days are picked out or the calendar is cut.
    """
    return context.once(("cohorts", dims), lambda: _cohorts(context, dims))


def _cohorts(context: FieldContext, dims: Slice) -> pl.DataFrame:
    placed = [FLEET, *(name for name in dims if name != "cause_class")]
    quarters = Quarters.of(context, placed)
    cells = _Cells(quarters)
    law = context.once(
        "lag law",
        lambda: lag_law(
            context.failures["failed_on"], context.failures["opened_on"], context.as_of
        ),
    )
    kinds: list[tuple[dict[str, str], str]] = (
        [({"event": "any", "cause_class": name}, name) for name in context.classes]
        if "cause_class" in dims
        else [({"event": event}, event) for event in codes.EVENTS]
    )
    tables = [cells.tables(kind, law) for _, kind in kinds]
    labels = pl.DataFrame(
        [words for words, _ in kinds], schema=dict.fromkeys(kinds[0][0], pl.String)
    )
    rows = _laid_out(quarters.groups, labels, tables)
    empty = _empty_cells(context, quarters.groups, dims, labels)
    # Courses are put in order by their words, and cells by the number of their course.
    keys = [FLEET, *dims, "cohort", "event"]
    every = pl.concat([rows.courses.select(keys), empty.select(keys)]).with_row_index("course")
    order = every.sort(keys).with_row_index("order").sort("course")["order"].to_numpy()
    numbered = (
        part.with_columns(order=pl.Series(own))
        for part, own in (
            (_described(rows.cells), order[rows.course]),
            (empty, order[rows.courses.height :]),
        )
    )
    table = pl.concat(numbered, how="diagonal_relaxed").sort("order", maintain_order=True)
    return labelled(table, dims, COLUMNS)


class _LaidOut(NamedTuple):
    """Cells that a unit is at risk in, or that are projected; the course of each, and the words of
    courses."""

    cells: pl.DataFrame
    course: np.ndarray
    courses: pl.DataFrame


def _laid_out(
    groups: pl.DataFrame, labels: pl.DataFrame, tables: list[dict[str, np.ndarray]]
) -> _LaidOut:
    """Tables of groups x months, one for each of the labels, as rows in the order of courses."""
    courses = labels.join(groups, how="cross", maintain_order="left_right")
    stacked = {name: np.concatenate([own[name] for own in tables]) for name in tables[0]}
    course, months = np.nonzero((stacked["at_risk"] > 0) | stacked["projected"])
    columns = [pl.Series(name, values[course, months]) for name, values in stacked.items()]
    cells = courses[course].hstack([pl.Series("months", months), *columns])
    return _LaidOut(cells, course, courses)


@dataclass(frozen=True)
class _Cells:
    """The cells of quarters by month."""

    quarters: Quarters

    def tables(self, kind: str, law: np.ndarray) -> dict[str, np.ndarray]:
        """The cells of every group for one kind of failure: groups x months, by column."""
        inside = self.quarters.at_risk.inside
        own = inside.of(kind)
        episode, age = inside["episode"][own], inside["age"][own]
        since = self._today - self.quarters.entered_on[self.quarters.at_risk.unit[episode]] - age
        weight = 1 / np.maximum(share_reported(law, since), _LEAST_SHARE_REPORTED)
        events = Events(episode, age, weight)
        known, whole = means_at_months(self.quarters.counted, events, np.ones(len(age)), weight)
        columns = {
            "at_risk": self.quarters.reaching,
            "failures": happened_by_months(
                self.quarters.episodes.group[episode], age, self.quarters.groups.height
            ),
            "immature": self._immature(law),
            "shown": shown(self.quarters.reaching, self.quarters.groups["units"].to_numpy()),
        }
        for suffix, figure in zip(
            ("per_100", "low", "high"), (known.value, known.low, known.high), strict=True
        ):
            columns[f"mean_{suffix}"] = 100 * figure
        return columns | self._completed(whole, events, columns)

    def _completed(
        self, whole: Mean, events: Events, columns: dict[str, np.ndarray]
    ) -> dict[str, np.ndarray]:
        """The completed means with their limits, those of months to come projected."""
        mean, error = whole.value, whole.error
        with np.errstate(divide="ignore", invalid="ignore"):
            wide = np.exp(Z_80 * error / mean)
            near = np.where((mean > 0) & (error > 0), wide, np.nan)
        completed = {
            "completed_per_100": mean,
            "completed_low": whole.low,
            "completed_high": whole.high,
            "completed_low_80": mean / near,
            "completed_high_80": mean * near,
        }
        projected, missing = np.zeros(mean.shape, bool), np.zeros(mean.shape, bool)
        context = self.quarters.at_risk.context
        if not context.by_day and context.since is None and context.until is None:
            to_come = projections(self.quarters, events, mean)
            missing = to_come.missing
            projected = np.isfinite(to_come.value) | missing
            limits = {f"completed_{name}": values for name, values in to_come.limits.items()}
            for name, values in ({"completed_per_100": to_come.value} | limits).items():
                completed[name] = np.where(projected, values, completed[name])
        scaled = {name: 100 * values for name, values in completed.items()}
        return {**scaled, "projected": projected, "missing": missing}

    @property
    def _today(self) -> int:
        return int(np.datetime64(self.quarters.at_risk.context.as_of, "D").astype(np.int64))

    def _immature(self, law: np.ndarray) -> np.ndarray:
        """By group and month: whether a call for an age up to it may still come."""
        within = int(np.searchsorted(law, REPORTED_SHARE))
        episodes = self.quarters.episodes
        first = np.maximum(self._today - within + 1 - self.quarters.entered_on[episodes.unit], 0)
        to_come = first <= episodes.exit
        earliest = np.full(self.quarters.groups.height, np.iinfo(np.int64).max)
        np.minimum.at(earliest, episodes.group[to_come], first[to_come])
        immature: np.ndarray = MONTH_AGES[None, :] >= earliest[:, None]
        return immature


def _described(cells: pl.DataFrame) -> pl.DataFrame:
    """The cells with what is thin, completed and noted."""
    completed = [name for name in COLUMNS if name.startswith("completed_")]
    means = ("mean_per_100", "mean_low", "mean_high")
    known, beyond = pl.col("at_risk") > 0, pl.col("immature") | pl.col("projected")
    return cells.with_columns(
        *(pl.when(beyond).then(name).alias(name) for name in completed),
        *(pl.when(known).then(name).alias(name) for name in means),
        thin=thin(units=pl.when("projected").then("units").otherwise("at_risk")),
        note=pl.when("missing")
        .then(pl.lit(_NO_REFERENCE))
        .when(pl.col("failures") == 0)
        .then(pl.when("projected").then(pl.lit(None)).otherwise(pl.lit(_NO_LIMITS))),
    )  # fmt: skip


def _empty_cells(
    context: FieldContext, entered: pl.DataFrame, dims: Slice, labels: pl.DataFrame
) -> pl.DataFrame:
    """A cell, of the as-of date's quarter, for each group that no unit at risk has entered."""
    placed = [FLEET, *(name for name in dims if name != "cause_class")]
    nobody = grid(context, tuple(placed[1:])).select(placed).join(entered, on=placed, how="anti")
    return nobody.join(labels, how="cross").with_columns(
        cohort=pl.lit(f"{context.as_of.year}-Q{(context.as_of.month + 2) // 3}"),
        months=pl.lit(0, pl.Int64),
        units=pl.lit(0, pl.Int64),
        at_risk=pl.lit(0, pl.Int64),
        failures=pl.lit(0, pl.Int64),
        immature=pl.lit(False),
        projected=pl.lit(False),
        shown=pl.lit(False),
        thin=pl.lit(True),
        note=pl.lit(NO_EXPOSURE),
    )
