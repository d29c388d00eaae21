"""Since when what stands holds: by the ruling, its approval or withdrawal, or the history."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import polars as pl
import pytest

from pipelines.coverage.evidence import APPROVALS, WITHDRAWALS
from pipelines.coverage.standing_since import with_standing_since
from schemas.columns import CENTS, MOMENT, polars_schema
from schemas.decisions import DecisionHistory

AS_OF = dt.date(2026, 6, 30)
LINES = ("parts_payable", "labor_payable", "travel_payable")


def _claims(**more) -> pl.DataFrame:
    row = {"claim": "K1", "verdict": "covered", "ruling": None, "ruled_at": None}
    row |= dict(zip(LINES, map(Decimal, ("100.00", "50.00", "0.00")), strict=True)) | more
    schema = dict.fromkeys(("claim", "verdict", "ruling"), pl.String)
    schema |= {name: MOMENT for name in row if name.endswith("_at")}
    return pl.DataFrame([row], schema=schema | dict.fromkeys(LINES, CENTS))


def _history(*entries: tuple) -> pl.DataFrame:
    """Entries (as-of day, verdict after, parts, labor), each decided an hour after its day began;
    without amounts: of before they were told."""
    rows = [
        {
            "claim": "K1",
            "decided_at": dt.datetime.fromisoformat(f"{day}T01:00:00"),
            "as_of": dt.date.fromisoformat(day),
            "to_verdict": verdict,
            "moved": [],
            "fingerprint": "",
            **(dict(zip(LINES, map(Decimal, (*money, "0")), strict=True)) if money else {}),
        }
        for day, verdict, *money in entries
    ]
    return pl.DataFrame(rows, schema=polars_schema(DecisionHistory))


def _since(history, withdrawals=None, approved_on=None, **more) -> dt.date:
    claims = _claims(**more)
    approvals = claims.select("claim", "ruled_at", approved_on=pl.lit(approved_on)).drop_nulls()
    withdrawals = WITHDRAWALS.to_frame() if withdrawals is None else withdrawals
    found = with_standing_since(claims, history, AS_OF, approvals.cast(APPROVALS), withdrawals)
    return found["standing_since"].item()


@pytest.mark.parametrize(
    ("entries", "since"),
    [
        ([], AS_OF),
        ([("2026-05-01", "covered", "100", "50")], dt.date(2026, 5, 1)),
        # Other reasons for the same verdict and amounts bring nothing.
        (
            [("2026-05-01", "covered", "100", "50"), ("2026-05-20", "covered", "100", "50")],
            dt.date(2026, 5, 1),
        ),
        # Another amount does, and so does another verdict between.
        (
            [("2026-05-01", "covered", "100", "40"), ("2026-05-20", "covered", "100", "50")],
            dt.date(2026, 5, 20),
        ),
        (
            [
                ("2026-05-01", "covered", "100", "50"),
                ("2026-05-10", "not_covered", "0", "0"),
                ("2026-05-11", "covered", "100", "50"),
            ],
            dt.date(2026, 5, 11),
        ),
        # Verdict or amounts are new in this refresh.
        ([("2026-05-01", "covered", "100", "40")], AS_OF),
        ([("2026-05-01", "not_covered", "0", "0")], AS_OF),
        # Rows of before amounts were told agree with any.
        ([("2026-05-01", "covered"), ("2026-05-20", "covered", "100", "50")], dt.date(2026, 5, 1)),
    ],
)
def test_without_a_ruling_the_history_tells_the_day(entries, since) -> None:
    """The as-of day of the row that brought the present verdict and amounts."""
    assert _since(_history(*entries)) == since
    assert _since(_history(*entries).reverse()) == since


def test_a_ruling_stands_since_it_was_made_or_approved() -> None:
    """The day of ruled_at, whatever the history says; of the approval where there was one."""
    history = _history(("2026-05-01", "covered", "100", "50"))
    ruled = {"ruling": "covered", "ruled_at": dt.datetime(2026, 3, 4, 23, 59)}
    assert _since(history, **ruled) == dt.date(2026, 3, 4)
    assert _since(history, **ruled, approved_on=None) == dt.date(2026, 3, 4)
    assert _since(history, **ruled, approved_on=dt.date(2026, 3, 9)) == dt.date(2026, 3, 9)


@pytest.mark.parametrize(("day", "since"), [("2026-04-30", "2026-05-01"), ("2026-05-02",) * 2])
def test_a_withdrawn_ruling_lets_the_decision_stand_again(day, since) -> None:
    """The later of the history's day and the day of the withdrawal."""
    history = _history(("2026-05-01", "covered", "100", "50"))
    gone = pl.DataFrame({"claim": ["K1"], "withdrawn_on": [dt.date.fromisoformat(day)]})
    assert _since(history, gone) == dt.date.fromisoformat(since)


def test_without_a_history_it_is_the_as_of_day() -> None:
    """The first refresh."""
    assert _since(None) == AS_OF


@pytest.mark.parametrize("days", [("2026-05-01", "2026-05-09"), ("2026-05-09", "2026-05-01")])
def test_the_history_is_in_the_order_of_its_publications(days) -> None:
    """The clock went back between the first and the second: the second is the later one."""
    later = _history(
        ("2026-04-01", "needs_review", "0", "0"), ("2026-04-20", "covered", "100", "50")
    ).with_columns(
        publication=pl.Series([1, 2]),
        decided_at=pl.Series([dt.datetime.fromisoformat(day) for day in days]).cast(MOMENT),
    )
    assert _since(later) == dt.date(2026, 4, 20)
