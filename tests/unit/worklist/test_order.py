"""The order of the worklist: groups, then money by nearness, with what each row tells."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import polars as pl
import pytest

from pipelines.worklist.order import order_claims
from schemas.columns import polars_schema
from schemas.decisions import Decisions, Findings
from schemas.payments import Payments
from schemas.worklist import ADDED, DESK, GROUPS

AS_OF = dt.date(2026, 3, 31)
SCHEMA = polars_schema(Decisions)
ZERO = {name: Decimal(0) for name in SCHEMA if name.endswith(("_claimed", "_payable", "_standing"))}
BASE = ZERO | {
    "ruling_outdated": False,
    "failed_on": dt.date(2026, 1, 1),
    "opened_on": dt.date(2026, 1, 2),
}


def frame(rows: list[dict], schema) -> pl.DataFrame:
    return pl.DataFrame([{n: r.get(n) for n in schema} for r in rows], schema=schema, orient="row")


def row(claim: str, standing: str, amount: int, **more) -> dict:
    verdict = {"claim": claim, "verdict": standing, "standing": standing}
    return BASE | verdict | {"parts_claimed": Decimal(amount)} | more


def order(*rows: dict, **more) -> pl.DataFrame:
    return order_claims(frame(list(rows), SCHEMA), AS_OF, **more)


def test_groups_follow_each_other() -> None:
    """Each kind of open claim in its group, the groups in their order, settled claims last."""
    soon = AS_OF + dt.timedelta(days=5)
    reviewed = {"payable_if_settled": Decimal(7), "if_settled": "covered"}
    neither = {"payable_if_settled": Decimal(0), "if_settled": "not_covered"}
    ordered = order(
        row("settled", "covered", 9000),
        row("either", "needs_review", 900, **neither),
        row("both", "needs_review", 900, **neither, duplicate_of="settled"),
        row("twin", "needs_review", 900, **reviewed, duplicate_of="settled"),
        row("two", "needs_evidence", 800, missing="test; proof of installation"),
        row("one", "needs_evidence", 100, missing="test"),
        row("limit", "needs_evidence", 50, missing="test; log", file_by=soon),
        row("review", "needs_review", 1, **reviewed, file_by=soon),
    )
    assert dict(ordered.select("claim", "group").iter_rows()) == {
        "review": "person",
        "limit": "filing",
        "one": "one_document",
        "two": "documents",
        "twin": "duplicates",
        "both": "duplicates",
        "either": "settled_either_way",
        "settled": None,
    }
    assert ordered["claim"].to_list()[:4] == ["review", "limit", "one", "two"]
    assert ordered["claim"].to_list()[4:] == ["twin", "both", "either", "settled"]
    assert set(GROUPS) == set(ordered["group"].drop_nulls())
    assert ordered["open"].to_list() == [True] * 7 + [False]
    assert ordered["why"].to_list() == [
        "Needs a person; 7.00 at stake",
        "50.00 at stake, 5 days to file",
        "One document short; 100.00 at stake",
        "2 documents short; 800.00 at stake",
        "Claimed before as settled; 7.00 at stake",
        "Claimed before as settled; 0.00 at stake",
        "Not covered whichever way the dispute is settled",
        "Settled",
    ]
    assert {name: ordered.schema[name] for name in ADDED} == ADDED


def test_nearness_weighs_money() -> None:
    """Half the money due today goes before the whole that is due in a month; the day itself
    counts, the day after does not."""
    ordered = order(
        row("today", "needs_evidence", 510, file_by=AS_OF),
        row("month", "needs_evidence", 1000, file_by=AS_OF + dt.timedelta(days=30)),
        row("passed", "needs_evidence", 5000, missing="test", file_by=AS_OF - dt.timedelta(1)),
    )
    assert ordered["claim"].to_list() == ["today", "month", "passed"]
    assert ordered["days_left"].to_list() == [0, 30, None]
    assert ordered["why"][0] == "510.00 at stake, today is the last day to file"


def test_what_waits_for_a_person_is_open_whatever_stands() -> None:
    """Overtaken and waiting rulings and open appeals, also of a duplicate, go to a person."""
    desk = frame(
        [
            {"claim": "appealed", "appealed_on": AS_OF, "appeal_reason": "The test came late."},
            {"claim": "waiting", "waiting_event": 7, "waiting_by": "R. Osei"},
        ],
        DESK,
    )
    ruled = {"ruling": "covered"}
    ordered = order(
        row("overtaken", "covered", 30, **ruled, verdict="not_covered", ruling_outdated=True),
        row("appealed", "not_covered", 20, ruling="not_covered"),
        row("waiting", "needs_review", 900, duplicate_of="x", payable_if_settled=Decimal(10)),
        row("other", "needs_evidence", 9000, missing="test"),
        desk=desk,
    )
    assert ordered["claim"].to_list() == ["overtaken", "appealed", "waiting", "other"]
    assert ordered["group"].to_list() == ["person"] * 3 + ["one_document"]
    assert ordered["reason"].to_list()[:3] == [
        "Since the ruling the records have come to say: not covered.",
        "Appealed on 2026-03-31: The test came late.",
        "A ruling by R. Osei waits for a second person.",
    ]


def test_a_ruling_of_a_later_day_settles_an_appeal_wherever_it_came_from() -> None:
    """An export's too; one of the appeal's own day, or none, leaves it open."""
    appeal = {"appealed_on": AS_OF, "appeal_reason": "New.", "appeal_day": AS_OF}
    claims = ("before", "later", "computed")
    desk = frame([{"claim": claim} | appeal for claim in claims], DESK)
    later = AS_OF + dt.timedelta(1)
    ordered = order(
        row("before", "covered", 30, ruling="covered", standing_since=AS_OF),
        row("later", "covered", 20, ruling="covered", standing_since=later),
        row("computed", "covered", 10, standing_since=later),
        desk=desk,
    )
    assert dict(ordered.select("claim", "open").iter_rows()) == {
        "before": True,
        "later": False,
        "computed": True,
    }
    assert ordered.filter(claim="later")["reason"].item() in (None, "")


def test_the_order_of_rows_does_not_matter() -> None:
    """The same claims in any order give the same list."""
    rows = [row(f"K{n}", "needs_evidence", n % 3, missing="test") for n in range(20)]
    assert order(*rows).equals(order(*reversed(rows)))
    assert order(*rows).height == 20


def test_overdue_documents_and_holds_that_end_today_come_back_to_the_top() -> None:
    """The day itself is in time; a hold until tomorrow still holds, one until today ends."""
    missing = {"missing": "test"}
    desk = frame(
        [
            {"claim": "back", "hold_until": AS_OF},
            {"claim": "held", "hold_until": AS_OF + dt.timedelta(1)},
            {"claim": "long", "hold_until": AS_OF - dt.timedelta(1)},
        ],
        DESK,
    )
    ordered = order(
        row("late", "needs_evidence", 20, documents_due_on=AS_OF - dt.timedelta(1), **missing),
        row("today", "needs_evidence", 900, documents_due_on=AS_OF, **missing),
        row("back", "needs_evidence", 10, **missing),
        row("held", "needs_evidence", 800, **missing),
        row("long", "needs_evidence", 700, **missing),
        desk=desk,
    )
    assert ordered["claim"].to_list() == ["late", "back", "today", "held", "long"]
    assert ordered["overdue"].to_list() == [True, False, False, False, False]
    assert ordered["held"].to_list() == [False, False, False, True, False]
    assert ordered["why"][0] == "One document short; 20.00 at stake; documents overdue"


@pytest.mark.parametrize(("claimed_on", "age"), [(None, 88), (dt.date(2026, 3, 30), 1), (AS_OF, 0)])
def test_age_runs_from_the_filing_else_the_opening(claimed_on, age) -> None:
    """Days since claimed_on; without it since opened_on, which is 2 January."""
    assert order(row("K", "needs_review", 1, claimed_on=claimed_on))["age_days"].item() == age


def test_a_duplicate_tells_of_its_original() -> None:
    """Standing, what was credited and when, and whether each line claimed is the same."""
    same = {"labor_claimed": Decimal("9.99"), "duplicate_of": "first"}
    other = same | {"labor_claimed": Decimal("9.98"), "travel_claimed": Decimal("0.01")}
    paid = {"claim": "first", "total_credited": Decimal(5), "last_credited_on": AS_OF}
    ordered = order(
        row("first", "covered", 100, labor_claimed=Decimal("9.99")),
        row("equal", "needs_review", 100, **same),
        row("unequal", "needs_review", 100, **other),
        row("nowhere", "needs_review", 100, **same | {"duplicate_of": "gone"}),
        payments=frame([paid], polars_schema(Payments)),
    )
    found = dict(ordered.select("claim", "original").iter_rows())
    told = {"claim": "first", "standing": "covered", "credited": Decimal(5)}
    told |= {"last_credited_on": AS_OF}
    assert found["equal"] == told | {"equal": True}
    assert found["unequal"] == told | {"equal": False}
    assert [found[name] for name in ("first", "nowhere")] == [None, None]


def test_the_reason_is_the_leading_findings_sentence() -> None:
    """Whole, however long, and of the finding that leads, not of another."""
    long = "The failure on 2026-01-01 is before " + "x" * 500
    findings = frame(
        [
            {"claim": "K", "condition": "delimed", "reason": "Another."},
            {"claim": "K", "condition": "records_agree", "reason": long},
            {"claim": "L", "condition": "records_agree", "reason": "Of another claim."},
        ],
        polars_schema(Findings),
    )
    ordered = order(row("K", "needs_review", 1, lead_reason="records_agree"), reasons=findings)
    assert ordered["reason"].item() == long


def test_equal_money_is_in_the_order_of_failures_the_newest_first() -> None:
    """Then by the claim; a failure without a day comes last."""
    days = {"a": dt.date(2026, 1, 5), "b": dt.date(2026, 2, 5), "c": dt.date(2026, 2, 5), "d": None}
    rows = [row(name, "needs_review", 70, failed_on=day) for name, day in days.items()]
    assert order(*rows)["claim"].to_list() == ["b", "c", "a", "d"]


def test_a_claim_that_lacks_no_document_is_not_one_document_short() -> None:
    """Nothing missing is not one thing missing."""
    ordered = order(
        row("none", "needs_evidence", 70),
        row("empty", "needs_evidence", 60, missing=""),
        row("one", "needs_evidence", 50, missing="test"),
    )
    assert dict(ordered.select("claim", "group").iter_rows()) == {
        "none": "documents",
        "empty": "documents",
        "one": "one_document",
    }
