"""How long failures take to be seen: failure, call opened, claim filed.

Belongs here: the triangle of failures by lag and the law that it gives. Does not belong here: the
chain ladder itself, cohorts.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import polars as pl

from pipelines.field.chain_ladder import Development, chain_ladder, developed_share
from pipelines.field.slices import FEWEST_FAILURES

LONGEST_LAG_DAYS = 365  # later reports count as of that day
WEEK = 7
STAGES = (("failed_on", "opened_on"), ("opened_on", "claimed_on"), ("failed_on", "claimed_on"))
_STAGE_WORDS = ("failure to call", "call to claim", "failure to claim")
_SHOWN_DAYS = (0, 7, 14, 30, 60, 90, 180, 365)


def triangle(happened: pl.Series, reported: pl.Series, as_of: date, step: int) -> np.ndarray:
    """Cumulative counts by time of happening (rows, oldest first) and lag (columns), in steps.

    A cell is NaN where not all of its lags could have been seen by the as-of date. What happened
    too late to have a single whole step behind it is left out.
    """
    ago, lag = _days(happened, reported, as_of)
    if not len(ago):
        return np.zeros((0, 0))
    columns = min(LONGEST_LAG_DAYS, int(ago.max())) // step + 1
    block = ago // step
    rows = int(block.max()) + 1
    place = block * columns + np.minimum(lag // step, columns - 1)
    counts = np.bincount(place, minlength=rows * columns).astype(float).reshape(rows, columns)
    # A block is at least block * step days old: so many whole steps of lag have been seen.
    seen = (np.arange(rows) * step + 1) // step
    cells = np.cumsum(counts, axis=1)
    cells[np.arange(columns)[None, :] >= seen[:, None]] = np.nan
    return cells[seen > 0][::-1]


def _days(happened: pl.Series, reported: pl.Series, as_of: date) -> tuple[np.ndarray, np.ndarray]:
    both = pl.DataFrame({"happened": happened, "reported": reported}).drop_nulls()
    days = both.select(
        ago=(pl.lit(as_of) - pl.col("happened")).dt.total_days(),
        lag=(pl.col("reported") - pl.col("happened")).dt.total_days(),
    )
    # A report dated before what it reports has a lag of none.
    return days["ago"].to_numpy(), np.maximum(days["lag"].to_numpy(), 0)


def lag_law(happened: pl.Series, reported: pl.Series, as_of: date) -> np.ndarray:
    """Share reported within 0, 1, 2 … days, of all that are reported within a year.

    By the chain ladder on days, which equals the reverse-time hazard estimate (Lawless 1994); the
    last element is 1 and holds for longer lags. With fewer than 5 reports, 1 from the first day.
    """
    cells = triangle(happened, reported, as_of, 1)
    if happened.len() < FEWEST_FAILURES or cells.size == 0:
        return np.ones(1)
    return developed_share(cells)


def share_reported(law: np.ndarray, days: np.ndarray) -> np.ndarray:
    """The law at whole days since; 0 before."""
    days = np.asarray(days)
    return np.where(days < 0, 0.0, law[np.clip(days, 0, len(law) - 1)])


def completed_failures(failures: pl.DataFrame, as_of: date) -> Development | None:
    """Failures by week of happening, completed for those whose call is not opened yet."""
    if failures.height < FEWEST_FAILURES:
        return None
    cells = triangle(failures["failed_on"], failures["opened_on"], as_of, WEEK)
    return chain_ladder(cells) if cells.size else None


def reporting_lags(failures: pl.DataFrame, as_of: date) -> pl.DataFrame:
    """The law of each stage: stage, days, share_reported, failures (behind it)."""
    parts = []
    for word, (happened, reported) in zip(_STAGE_WORDS, STAGES, strict=True):
        known = failures.drop_nulls([happened, reported])
        law = lag_law(known[happened], known[reported], as_of)
        parts.append(
            pl.DataFrame(
                {
                    "stage": [word] * len(_SHOWN_DAYS),
                    "days": list(_SHOWN_DAYS),
                    "share_reported": share_reported(law, np.array(_SHOWN_DAYS)),
                    "failures": [known.height] * len(_SHOWN_DAYS),
                }
            )
        )
    return pl.concat(parts)
