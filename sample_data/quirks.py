"""Records that pass every check of their feed and still do not fit together.

Belongs here: contradictions and near misses between records, planted by count. Does not belong
here: rows that are set aside (`faults`).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from sample_data.draws import Draws

_LATER_CALL, _LATER_CLAIM = "C-8", "WC-8"


@dataclass
class Feeds:
    """One frame a feed, as `documents`, `laboratory`, `calls` and `rulings` make them."""

    units: pl.DataFrame
    startups: pl.DataFrame
    water_tests: pl.DataFrame
    treatment_purchases: pl.DataFrame
    service_calls: pl.DataFrame
    rulings: pl.DataFrame = field(default_factory=pl.DataFrame)
    credits: pl.DataFrame = field(default_factory=pl.DataFrame)


@dataclass(frozen=True)
class Quirk:
    """What was planted: in which feed, on which column, in how many records."""

    feed: str
    kind: str
    column: str
    records: int


def plant_quirks(feeds: Feeds, seed: int) -> list[Quirk]:
    """Changes the frames in `feeds` and tells what was changed."""
    draws = Draws(seed, "quirks")
    calls = feeds.service_calls.with_row_index("_row")
    settled = (
        pl.col("claim").is_not_null()
        & pl.col("completed_on").is_not_null()
        & (pl.col("claimed_on") <= dt.date(2026, 9, 15))
        & pl.col("failed_on").is_not_null()
    )
    candidates = calls.filter(settled)["_row"].to_numpy()
    shuffled = candidates[np.argsort(draws.uniform(len(candidates)), kind="stable")]
    take = iter(np.split(shuffled[:60], [4, 8, 11, 16, 30, 34]))
    opened = pl.col("opened_on")
    steps = [
        ("failed_after_opened", "failed_on", opened.dt.offset_by("3d")),
        ("completed_before_opened", "completed_on", opened.dt.offset_by("-2d")),
        ("claimed_before_failure", "claimed_on", pl.col("failed_on").dt.offset_by("-9d")),
        ("claimed_on_not_told", "claimed_on", pl.lit(None, dtype=pl.Date)),
    ]
    planted = []
    for kind, column, value in steps:
        rows = next(take)
        calls = calls.with_columns(_at(rows, value, column))
        planted.append(Quirk("service_calls", kind, column, len(rows)))
    twins = _twins(calls.filter(pl.col("_row").is_in(next(take).tolist())))
    planted.append(Quirk("service_calls", "same_failure_claimed_twice", "claim", twins.height))
    lost = next(take)
    foreign = pl.format("P{}", pl.col("_row").cast(pl.String).str.zfill(7))
    calls = calls.with_columns(_at(lost, foreign, "serial"))
    planted.append(Quirk("service_calls", "serial_of_no_unit", "serial", len(lost)))
    rest = pl.col("_row").is_in(next(take).tolist())
    missed = calls.filter(rest & pl.col("serial").str.contains("0"))["_row"].to_numpy()[:9]
    calls = calls.with_columns(_at(missed, _letter_for_zero(), "serial"))
    planted.append(Quirk("service_calls", "letter_for_zero", "serial", len(missed)))
    feeds.service_calls = pl.concat([calls.drop("_row"), twins.drop("_row")])
    planted += [_misread(feeds, name, draws, 5) for name in ("startups", "treatment_purchases")]
    planted.append(_installed_before_shipped(feeds, draws, 4))
    return planted


def booking_quirks(calls: pl.DataFrame) -> list[Quirk]:
    """How many calls have no cause, a catch-all or a wrong one, though the desk knew better."""
    counts = dict(calls["mistake"].drop_nulls().value_counts(sort=True).sort("mistake").iter_rows())
    kinds = {"none": "cause_left_out", "lazy": "catch_all_cause", "wrong": "wrong_cause"}
    return [Quirk("service_calls", kinds[name], "cause", n) for name, n in counts.items()]


def _at(rows: np.ndarray, value: pl.Expr, column: str) -> pl.Expr:
    return (
        pl.when(pl.col("_row").is_in(rows.tolist()))
        .then(value)
        .otherwise(pl.col(column))
        .alias(column)
    )


def _twins(claims: pl.DataFrame) -> pl.DataFrame:
    """The same failures claimed again a day later, as a second call."""
    return claims.with_columns(
        call=_LATER_CALL + pl.col("call").str.slice(3),
        claim=_LATER_CLAIM + pl.col("claim").str.slice(4),
        opened_on=pl.col("opened_on").dt.offset_by("1d"),
        failed_on=pl.col("failed_on").dt.offset_by("1d"),
        completed_on=pl.col("completed_on").dt.offset_by("1d"),
        claimed_on=pl.col("claimed_on").dt.offset_by("3d"),
    )


def _letter_for_zero() -> pl.Expr:
    return pl.col("serial").str.replace("0", "O")


def _misread(feeds: Feeds, name: str, draws: Draws, count: int) -> Quirk:
    frame = getattr(feeds, name).with_row_index("_row")
    zeros = frame.filter(pl.col("serial").str.contains("0"))["_row"].to_numpy()
    rows = zeros[np.argsort(draws.uniform(len(zeros)), kind="stable")[:count]]
    frame = frame.with_columns(_at(rows, _letter_for_zero(), "serial"))
    setattr(feeds, name, frame.drop("_row"))
    return Quirk(name, "letter_for_zero", "serial", count)


def _installed_before_shipped(feeds: Feeds, draws: Draws, count: int) -> Quirk:
    frame = feeds.units.with_row_index("_row")
    known = frame.filter(pl.col("installed_on").is_not_null())["_row"].to_numpy()
    rows = known[np.argsort(draws.uniform(len(known)), kind="stable")[:count]]
    earlier = pl.col("shipped_on").dt.offset_by("-12d")
    feeds.units = frame.with_columns(_at(rows, earlier, "installed_on")).drop("_row")
    return Quirk("units", "installed_before_shipped", "installed_on", count)
