"""The order of the worklist: review, then money by nearness, then one document short."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import polars as pl

from dashboards import data as shown
from dashboards.worklist import order_claims

AS_OF = dt.date(2026, 3, 31)


def _claims(sample, rows: list[dict]) -> pl.DataFrame:
    base = sample.decision(3)
    zero = dict.fromkeys(("labor_claimed", "travel_claimed"), Decimal(0))
    return sample.frame([base | zero | row for row in rows], shown.DECISIONS)


def _row(claim: str, standing: str, amount: int, **more) -> dict:
    return {
        "claim": claim,
        "standing": standing,
        "parts_claimed": Decimal(amount),
        "file_by": None,
        **more,
    }


def test_tiers_follow_each_other(sample) -> None:
    """Review goes first, then open limits, one document short, more documents, settled claims."""
    soon = AS_OF + dt.timedelta(days=5)
    rows = [
        _row("settled", "covered", 9000),
        _row("two", "needs_evidence", 800, missing="test; proof of installation"),
        _row("one", "needs_evidence", 100, missing="test"),
        _row("limit", "needs_evidence", 50, missing="test; log", file_by=soon),
        _row("review", "needs_review", 1),
    ]
    ordered = order_claims(_claims(sample, rows), AS_OF)
    assert ordered["claim"].to_list() == ["review", "limit", "one", "two", "settled"]
    assert ordered["open"].to_list() == [True, True, True, True, False]
    assert ordered["why"].to_list() == [
        "Needs a person; 1.00 claimed",
        "50.00 at stake, 5 days to file",
        "One document short; 100.00 at stake",
        "2 documents short; 800.00 at stake",
        "Settled",
    ]


def test_nearness_weighs_money(sample) -> None:
    """Half the money due today goes before the whole that is due in a month, and ties by day."""
    rows = [
        _row("today", "needs_evidence", 510, file_by=AS_OF),
        _row("month", "needs_evidence", 1000, file_by=AS_OF + dt.timedelta(days=30)),
        _row("passed", "needs_evidence", 5000, missing="test", file_by=AS_OF - dt.timedelta(1)),
    ]
    ordered = order_claims(_claims(sample, rows), AS_OF)
    assert ordered["claim"].to_list() == ["today", "month", "passed"]
    assert ordered["days_left"].to_list() == [0, 30, None]
    assert ordered["why"][0] == "510.00 at stake, today is the last day to file"


def test_an_overtaken_ruling_is_open(sample) -> None:
    """A claim whose verdict changed after its ruling asks for another look, before the others."""
    rows = [
        _row("new", "covered", 10, ruling="covered", ruling_outdated=True),
        _row("other", "needs_evidence", 9000, missing="test"),
    ]
    ordered = order_claims(_claims(sample, rows), AS_OF)
    assert ordered["claim"].to_list() == ["new", "other"]
    assert ordered["why"][0] == "New records since the ruling; 10.00 claimed"


def test_order_does_not_depend_on_the_order_of_rows(sample) -> None:
    """The same claims in any order give the same list."""
    data = sample.page_data(60).decisions
    expected = order_claims(data, AS_OF)
    assert order_claims(data.reverse(), AS_OF).equals(expected)


def test_overdue_documents_are_told(sample) -> None:
    """The day itself is in time; the day after, the reason says so."""
    missing = {"missing": "test"}
    rows = [
        _row(
            "yesterday", "needs_evidence", 20, documents_due_on=AS_OF - dt.timedelta(1), **missing
        ),
        _row("today", "needs_evidence", 10, documents_due_on=AS_OF, **missing),
    ]
    ordered = order_claims(_claims(sample, rows), AS_OF)
    assert ordered["overdue"].to_list() == [True, False]
    assert ordered["why"].to_list() == [
        "One document short; 20.00 at stake; documents overdue",
        "One document short; 10.00 at stake",
    ]
