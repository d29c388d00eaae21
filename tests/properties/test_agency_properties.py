"""Agencies for any repairs: returns against a plain reading, exact chances against counting."""

from __future__ import annotations

import datetime as dt
import itertools
from math import comb

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.field.agency_cases import USUAL_WORKMANSHIP_DAYS, followed_repairs
from pipelines.field.context import REPAIRS
from pipelines.field.peers import binomial_funnel, chance_of_more, clopper_pearson

START = dt.date(2026, 1, 1)
DAYS = st.integers(0, 120)


def _day(number: int | None) -> dt.date | None:
    return None if number is None else START + dt.timedelta(days=number)


@st.composite
def repairs(draw) -> list[dict]:
    """Repairs of two units and two classes, of which some are not finished or not watched."""
    rows = []
    for place in range(draw(st.integers(1, 12))):
        failed = draw(DAYS)
        rows.append(
            dict.fromkeys(REPAIRS)
            | {
                "call": f"C{place}",
                "serial": draw(st.sampled_from(["U1", "U2"])),
                "agency": draw(st.sampled_from(["A", "B"])),
                "cause_class": draw(st.sampled_from(["scale", "gasket", "unknown"])),
                "failed_on": _day(failed),
                "completed_on": _day(draw(st.none() | st.integers(failed, failed + 10))),
                "inside": draw(st.booleans()),
                "watched_until": _day(draw(st.integers(60, 260))),
                "workmanship_days": draw(st.none() | st.sampled_from([0, 30, 60])),
            }
        )
    return rows


@given(repairs())
@settings(max_examples=100, deadline=None)
def test_returns_are_those_of_a_plain_reading(rows: list[dict]) -> None:
    """One repair at a time, as the measure is described, gives the same repairs and returns."""
    expected = {}
    for row in rows:
        if not row["inside"] or row["cause_class"] == "unknown" or row["completed_on"] is None:
            continue
        days = row["workmanship_days"]
        last = row["completed_on"] + dt.timedelta(USUAL_WORKMANSHIP_DAYS if days is None else days)
        if last >= row["watched_until"]:
            continue
        expected[row["call"]] = any(
            other["call"] != row["call"]
            and other["inside"]
            and other["serial"] == row["serial"]
            and other["cause_class"] == row["cause_class"]
            and row["completed_on"] <= other["failed_on"] <= last
            for other in rows
        )
    frame = pl.DataFrame(rows, schema=REPAIRS, orient="row")
    told = followed_repairs(frame, frame).select("call", "came_back").iter_rows()
    assert dict(told) == expected


STRATUM = st.integers(1, 9).flatmap(
    lambda cases: st.tuples(st.integers(0, cases), st.integers(0, cases), st.just(cases))
)


@given(st.lists(STRATUM, min_size=1, max_size=4))
@settings(max_examples=60, deadline=None)
def test_chances_are_those_of_counting_all_arrangements(strata: list[tuple]) -> None:
    """For small strata every tail equals the share of arrangements, and tails never rise."""
    own, events, cases = (np.array(column) for column in zip(*strata, strict=True))
    ways: dict[int, int] = {}
    for counts in itertools.product(*(range(k + 1) for k in events)):
        number = 1
        for x, n, k, total in zip(counts, own, events, cases, strict=True):
            number *= comb(int(k), x) * comb(int(total - k), int(n) - x) if x <= n else 0
        ways[sum(counts)] = ways.get(sum(counts), 0) + number
    every = sum(ways.values())
    tails = []
    for least in range(int(events.sum()) + 2):
        exact = sum(number for total, number in ways.items() if total >= least) / every
        told = chance_of_more(least, own, events, cases)
        assert told == pytest.approx(max(exact, 1e-18), rel=1e-9)
        tails.append(told)
    assert tails == sorted(tails, reverse=True)


@settings(max_examples=50, deadline=None)
@given(st.integers(1, 5000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_limits_of_a_share_hold_it(pair: tuple[int, int]) -> None:
    """A share lies within its limits, which lie within 0 and 1; more confidence is wider."""
    events, cases = np.array([pair[0]]), np.array([pair[1]])
    low, high = clopper_pearson(events, cases)
    wide_low, wide_high = clopper_pearson(events, cases, 0.998)
    share = events / cases
    assert 0 <= wide_low <= low <= share + 1e-12
    assert share - 1e-12 <= high <= wide_high <= 1


@given(st.lists(st.tuples(st.integers(1, 5000), st.floats(1e-4, 0.9999)), min_size=1, max_size=20))
@settings(max_examples=10, deadline=None)
def test_funnel_limits_are_in_order_and_widen(groups: list[tuple[int, float]]) -> None:
    """Limits rise with their tail, and a greater spread never draws them in."""
    cases, share = (np.array(column) for column in zip(*groups, strict=True))
    tails = (0.001, 0.025, 0.975, 0.999)
    limits = np.array([binomial_funnel(cases, share, tail) for tail in tails])
    wider = np.array([binomial_funnel(cases, share, tail, 4.0) for tail in tails])
    assert (np.diff(limits, axis=0) >= 0).all()
    assert ((np.abs(wider - 1) >= np.abs(limits - 1) - 1e-9) | (wider == 0)).all()
