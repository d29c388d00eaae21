"""Figure 5: quarters of entry by months in service, as failures per unit still watched.

Belongs here: the table `cohorts`. Does not belong here: the estimator (`mean_cumulative`), how long
reports take (`reporting_lag`).

Failures over all units that entered would mislead, since cover ends at different ages.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field.context import FLEET, FieldContext
from pipelines.field.ends import FEWEST_SHOWN, LEAST_SHARE_SHOWN
from pipelines.field.groups import TimeAtRisk, of_event
from pipelines.field.mean_cumulative import CountedEpisodes, Events, mean_cumulative
from pipelines.field.rates import grid
from pipelines.field.reporting_lag import lag_law, share_reported
from pipelines.field.risk_sets import MONTH_AGES, MONTHS, AgeGrid, Episodes, at_months
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
    "immature",
    "shown",
)
REPORTED_SHARE = 0.95  # of the failures of an age, from which on the age counts as mature
# No reported failure stands for more than ten, however fresh it is.
_LEAST_SHARE_REPORTED = 0.1
_NO_LIMITS = "limits cannot be estimated, because there was no failure by then"


def cohorts(context: FieldContext, dims: Slice) -> pl.DataFrame:
    """100 x the mean cumulative failures a unit of each quarter of entry, for one slice.

    Nelson's estimator with robust limits at whole months, as long as a unit of the quarter is at
    risk. An age is immature where a call may still come: where age and the 95th percentile of the
    time to the call reach past the as-of date for a unit of the quarter. Up to such ages the mean
    is completed: each failure counts 1 / the share of failures that are reported after so many
    days. `shown` ends with the last month at which 20 units and 5 % of the quarter's are at risk.
    """
    placed = [FLEET, *(name for name in dims if name != "cause_class")]
    quarters = _Quarters.of(context, placed)
    law = lag_law(context.failures["failed_on"], context.failures["opened_on"], context.as_of)
    kinds: list[tuple[dict[str, str], pl.Expr]] = (
        [({"event": "any", "cause_class": name}, of_event(name)) for name in context.classes]
        if "cause_class" in dims
        else [({"event": event}, of_event(event)) for event in codes.EVENTS]
    )
    rows = [
        quarters.rows(chosen, law).with_columns(pl.lit(word).alias(k) for k, word in labels.items())
        for labels, chosen in kinds
    ]
    empty = _empty_cells(context, quarters.groups, dims, [labels for labels, _ in kinds])
    table = pl.concat([*rows, empty], how="diagonal_relaxed")
    return labelled(table.sort(FLEET, *dims, "cohort", "event", "months"), dims, COLUMNS)


class _Quarters(NamedTuple):
    """The units of a slice by group and quarter of entry.

    groups: the dimensions of each group, its cohort and how many units entered. entered_on: days
    since 1970 by unit.
    """

    at_risk: TimeAtRisk
    groups: pl.DataFrame
    counted: CountedEpisodes
    entered_on: np.ndarray

    @classmethod
    def of(cls, context: FieldContext, placed: list[str]) -> _Quarters:
        """Those of the units that are watched for a day or more."""
        at_risk = TimeAtRisk.of(context)
        start = pl.col("watched_from")
        entered = context.units.select(
            *placed,
            unit=pl.col("unit").cast(pl.Int64),
            cohort=pl.format("{}-Q{}", start.dt.year(), start.dt.quarter()),
            day=start.cast(pl.Int64),
        ).filter(pl.col("unit").is_in(pl.Series(np.unique(at_risk.unit)).implode()))
        keys = [*placed, "cohort"]
        groups = entered.group_by(keys).agg(units=pl.len().cast(pl.Int64)).sort(keys)
        numbered = entered.join(groups.select(keys).with_row_index("group"), on=keys)
        group, day = np.zeros(at_risk.units, np.int64), np.zeros(at_risk.units, np.int64)
        group[numbered["unit"].to_numpy()] = numbered["group"].to_numpy()
        day[numbered["unit"].to_numpy()] = numbered["day"].to_numpy()
        own = Episodes(group[at_risk.unit], at_risk.unit, at_risk.entry, at_risk.exit)
        return cls(at_risk, groups, CountedEpisodes(AgeGrid(groups.height), own), day)

    def rows(self, chosen: pl.Expr, law: np.ndarray) -> pl.DataFrame:
        """The cells of every group for some of the failures."""
        failures = self.at_risk.failures.filter(chosen)
        episode, age = failures["episode"].to_numpy(), failures["age"].to_numpy()
        since = self._today - self.entered_on[self.at_risk.unit[episode]] - age
        weight = 1 / np.maximum(share_reported(law, since), _LEAST_SHARE_REPORTED)
        known, whole = (
            mean_cumulative(self.counted, Events(episode, age, w))
            for w in (np.ones(len(age)), weight)
        )
        episodes, table = self.counted.episodes, self.counted.grid
        happened = np.cumsum(table.tally(episodes.group[episode], age), axis=1)
        columns = {
            "at_risk": table.counts(episodes).at_risk_at_months,
            "failures": at_months(happened).astype(np.int64),
            "immature": self._immature(law),
        }
        for name, mean in (("mean", known), ("completed", whole)):
            figures = (mean.value, mean.low, mean.high)
            for suffix, figure in zip(("per_100", "low", "high"), figures, strict=True):
                columns[f"{name}_{suffix}"] = 100 * at_months(figure)
        place = np.repeat(np.arange(self.groups.height), MONTHS + 1)
        months = pl.Series("months", np.tile(np.arange(MONTHS + 1), self.groups.height))
        cells = self.groups[place].hstack(
            [months, *(pl.Series(name, values.reshape(-1)) for name, values in columns.items())]
        )
        return _described(cells)

    @property
    def _today(self) -> int:
        return int(np.datetime64(self.at_risk.context.as_of, "D").astype(np.int64))

    def _immature(self, law: np.ndarray) -> np.ndarray:
        """By group and month: whether a call for an age up to it may still come."""
        within = int(np.searchsorted(law, REPORTED_SHARE))
        episodes = self.counted.episodes
        first = np.maximum(self._today - within + 1 - self.entered_on[episodes.unit], 0)
        to_come = first <= episodes.exit
        earliest = np.full(self.groups.height, np.iinfo(np.int64).max)
        np.minimum.at(earliest, episodes.group[to_come], first[to_come])
        immature: np.ndarray = MONTH_AGES[None, :] >= earliest[:, None]
        return immature


def _described(cells: pl.DataFrame) -> pl.DataFrame:
    """The cells that a unit is at risk in, with what is shown, thin, completed and noted."""
    enough = (pl.col("at_risk") >= FEWEST_SHOWN) & (
        pl.col("at_risk") >= LEAST_SHARE_SHOWN * pl.col("units")
    )
    own = cells.columns[: cells.columns.index("cohort") + 1]
    last = pl.when(enough).then("months").max().over(own)
    completed = ("completed_per_100", "completed_low", "completed_high")
    return cells.filter(pl.col("at_risk") > 0).with_columns(
        *(pl.when("immature").then(pl.col(name)).alias(name) for name in completed),
        shown=(pl.col("months") <= last).fill_null(False),
        thin=thin(units="at_risk"),
        note=pl.when(pl.col("failures") == 0).then(pl.lit(_NO_LIMITS)),
    )


def _empty_cells(
    context: FieldContext, entered: pl.DataFrame, dims: Slice, labels: list[dict[str, str]]
) -> pl.DataFrame:
    """A cell, of the as-of date's quarter, for each group that no unit at risk has entered."""
    placed = [FLEET, *(name for name in dims if name != "cause_class")]
    nobody = grid(context, tuple(placed[1:])).select(placed).join(entered, on=placed, how="anti")
    kinds = pl.DataFrame(labels, schema=dict.fromkeys(labels[0], pl.String))
    return nobody.join(kinds, how="cross").with_columns(
        cohort=pl.lit(f"{context.as_of.year}-Q{(context.as_of.month + 2) // 3}"),
        months=pl.lit(0, pl.Int64),
        units=pl.lit(0, pl.Int64),
        at_risk=pl.lit(0, pl.Int64),
        failures=pl.lit(0, pl.Int64),
        immature=pl.lit(False),
        shown=pl.lit(False),
        thin=pl.lit(True),
        note=pl.lit(NO_EXPOSURE),
    )
