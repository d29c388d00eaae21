"""Which claims have a page: open, filed or ruled on lately, ruled at all, and claimed again."""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipelines.steps.paged_claims import CHOOSING, MOST_PAGES, acted_on, claims_with_pages
from schemas.columns import polars_schema
from schemas.decisions import Decisions
from schemas.worklist import DESK

AS_OF = dt.date(2026, 3, 31)
OLD = AS_OF - dt.timedelta(days=121)
SCHEMA = {name: polars_schema(Decisions)[name] for name in CHOOSING}


def chosen(*rows: dict, also: list[str] | None = None) -> list[str]:
    filled = [
        dict.fromkeys(SCHEMA) | {"claimed_on": OLD, "standing": "covered", "ruling_outdated": False}
        | row
        for row in rows
    ]  # fmt: skip
    frame = pl.DataFrame(filled, schema=SCHEMA, orient="row")
    given = None if also is None else pl.Series(also, dtype=pl.String)
    return claims_with_pages(frame, AS_OF, given).to_list()


def test_open_and_lately_filed_claims_have_a_page() -> None:
    """120 days after its filing a settled claim has none any more; open ones keep theirs."""
    rows = [
        {"claim": "open", "standing": "needs_review"},
        {"claim": "asks", "standing": "needs_evidence"},
        {"claim": "overtaken", "ruling_outdated": True, "ruling": "covered"},
        {"claim": "lately", "claimed_on": OLD + dt.timedelta(days=2)},
        {"claim": "on the day", "claimed_on": AS_OF - dt.timedelta(days=120)},
        {"claim": "old"},
        {"claim": "unpaid"},
    ]
    assert chosen(*rows, also=["unpaid"]) == ["asks", "lately", "open", "overtaken", "unpaid"]


def test_a_claim_keeps_its_page_once_it_is_ruled() -> None:
    """However old it is; and without a ruling it has none."""
    since = {"standing_since": AS_OF}
    assert chosen(
        {"claim": "ruled", "ruling": "not_covered"} | since, {"claim": "not"} | since
    ) == ["ruled"]


def test_the_first_of_two_claims_has_a_page_while_the_second_is_open() -> None:
    """So that what was paid for it can be looked at."""
    again = {"claim": "again", "standing": "needs_review", "duplicate_of": "first"}
    assert chosen({"claim": "first"}, again) == ["again", "first"]
    assert chosen({"claim": "first"}, again | {"standing": "not_covered"}) == []


def test_the_newest_stay_where_there_are_too_many() -> None:
    """Open ones before those ruled on lately, and these before older ones."""
    many = [
        {"claim": f"K{n:05}", "claimed_on": AS_OF - dt.timedelta(days=1)}
        for n in range(MOST_PAGES - 2)
    ]
    some = [
        {"claim": "a ruled today", "ruling": "covered", "standing_since": AS_OF},
        {"claim": "a ruled long ago", "ruling": "covered", "standing_since": OLD},
        {"claim": "an open one", "standing": "needs_review"},
    ]
    kept = chosen(*many, *some)
    assert len(kept) == MOST_PAGES
    assert {"a ruled today", "an open one"} <= set(kept)
    assert "a ruled long ago" not in kept


def test_claims_on_which_something_holds_have_a_page() -> None:
    """An assignment, a hold, an appeal, a waiting ruling; not what was taken back."""
    rows = [
        {"claim": "assigned", "assigned_to": "ada"},
        {"claim": "held", "hold_until": AS_OF},
        {"claim": "appealed", "appealed_on": AS_OF},
        {"claim": "waiting", "waiting_event": 7},
        {"claim": "nothing any more"},
    ]
    desk = pl.DataFrame([dict.fromkeys(DESK) | row for row in rows], schema=DESK)
    assert acted_on(desk).to_list() == ["assigned", "held", "appealed", "waiting"]
