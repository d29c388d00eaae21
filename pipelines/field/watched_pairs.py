"""Every family and cause class under early warning: its days and failures by band and month.

Belongs here: counting, and how complete the causes of fresh failures are. Does not belong here:
what is expected, charts (`early_warning`).
"""

from __future__ import annotations

from datetime import date
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import polars as pl

from pipelines.field.context import UNKNOWN, FieldContext
from pipelines.field.dimensions import BANDS
from pipelines.field.monthly import complete_months, monthly_days
from pipelines.field.reporting_lag import lag_law, share_reported
from pipelines.field.slices import ALL, NO_EXPOSURE, NO_FAILURES


class Fleet(NamedTuple):
    """By pair (rows): unit-days in each band and month, failures the same, and units.

    days, failures: pairs x bands x months.
    """

    pairs: list[tuple[str, str]]
    months: list[date]
    days: np.ndarray
    failures: np.ndarray
    units: np.ndarray


def watched_pairs(context: FieldContext) -> Fleet:
    """Days and failures of every pair that has a failure with a cause."""
    months = complete_months(context)
    known = context.failures.filter(pl.col("cause_class") != UNKNOWN)
    pairs = sorted(known.select("family", "cause_class").unique().rows())
    families = sorted({family for family, _ in pairs})
    shape = (len(BANDS), len(months) - 1)
    place = {day: n for n, day in enumerate(months[:-1])}
    band = {word: n for n, word in enumerate(BANDS)}
    days = {family: np.zeros(shape) for family in families}
    exposed = monthly_days(context).group_by("family", "age", "month").agg(pl.col("days").sum())
    for family, word, month, n in exposed.rows():
        if family in days and month in place:
            days[family][band[word], place[month]] = n
    failures = {pair: np.zeros(shape) for pair in pairs}
    month_of = pl.col("failed_on").dt.truncate("1mo").alias("month")
    for family, cause_class, word, month, n in (
        known.group_by("family", "cause_class", "band", month_of).len().rows()
    ):
        if month in place:
            failures[family, cause_class][band[word], place[month]] = n
    watched = context.units.filter(pl.col("watched_days") > 0)
    units = dict(watched.group_by("family").len().rows())
    stacked = (len(pairs), *shape)
    return Fleet(
        pairs,
        months,
        np.array([days[family] for family, _ in pairs]).reshape(stacked),
        np.array([failures[pair] for pair in pairs]).reshape(stacked),
        np.array([units.get(family, 0) for family, _ in pairs]),
    )


def completeness(context: FieldContext, months: list[date]) -> np.ndarray:
    """By month: the share of its failures that are known with a cause by the as-of date.

    From the time from failure to a completed call with a cause (reverse-time hazards), a mean over
    the days of the month.
    """
    known = context.failures.filter(pl.col("cause_class") != UNKNOWN)
    completed = context.repairs.select("call", "completed_on").unique("call")
    dated = known.join(completed, on="call", how="left").with_columns(
        told_on=pl.max_horizontal("opened_on", pl.coalesce("completed_on", "opened_on"))
    )
    dated = dated.with_columns(pl.min_horizontal("told_on", pl.lit(context.as_of)).alias("told_on"))
    law = lag_law(dated["failed_on"], dated["told_on"], context.as_of)
    shares = []
    for begin, end in pairwise(months):
        ago = (context.as_of - begin).days - np.arange((end - begin).days)
        shares.append(float(np.mean(share_reported(law, ago))))
    return np.array(shares)


def silent_families(context: FieldContext, fleet: Fleet) -> list[tuple[dict[str, str], str]]:
    """Families that no pair is of, with the reason."""
    watched = set(context.units.filter(pl.col("watched_days") > 0)["family"])
    families = sorted(set(context.units["family"]) - {family for family, _ in fleet.pairs})
    return [
        (
            {"family": family, "cause_class": UNKNOWN if not fleet.pairs else ALL},
            NO_FAILURES if family in watched else NO_EXPOSURE,
        )
        for family in families
    ]
