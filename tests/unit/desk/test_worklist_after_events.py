"""After an event only the rows that it bears on are put together anew; the list is the same."""

import datetime as dt
from contextlib import nullcontext
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipelines.desk.views import worklist as view
from pipelines.queries.decided_since import DecidedSince
from pipelines.worklist.order import order_claims
from schemas.columns import polars_schema
from schemas.decisions import Decisions, Findings
from schemas.payments import Payments
from schemas.worklist import DESK

DAY = dt.date(2026, 3, 31)
SCHEMA = polars_schema(Decisions)
ZERO = {name: Decimal(0) for name in SCHEMA if name.endswith(("_claimed", "_payable", "_standing"))}
LEADS = ("claim", "condition", "reason")


def frame(rows, schema):
    """Rows with the columns that they give, the others empty."""
    return pl.DataFrame([{n: r.get(n) for n in schema} for r in rows], schema=schema, orient="row")


def decided(claim, standing, amount, **more):
    """A decision that leads with `delimed`."""
    days = {"failed_on": dt.date(2026, 1, 1), "opened_on": dt.date(2026, 1, 2)}
    verdict = {"claim": claim, "verdict": standing, "standing": standing, "lead_reason": "delimed"}
    return ZERO | days | verdict | {"ruling_outdated": False, "parts_claimed": amount} | more


PUBLISHED = [
    decided("first", "needs_evidence", 100),
    decided("second", "needs_review", 100, duplicate_of="first"),
    decided("other", "needs_evidence", 50),
    decided("untouched", "needs_evidence", 70),
    decided("gone", "needs_review", 10),
    decided("after gone", "needs_review", 10, duplicate_of="gone"),
    decided("settled", "covered", 5),
]
AGAIN = [
    decided("first", "not_covered", 100),
    decided("new", "needs_review", 60, duplicate_of="untouched"),
]


@pytest.fixture
def published():
    """What a refresh published, each decision with the sentence of its leading finding."""
    decisions = frame(PUBLISHED, SCHEMA)
    leads = [
        {"claim": one["claim"], "condition": "delimed", "reason": f"Of {one['claim']}."}
        for one in PUBLISHED
    ]
    payment = {"claim": "untouched", "total_credited": Decimal(5), "last_credited_on": DAY}
    payments = frame([payment], polars_schema(Payments))
    return view._Published((1,), decisions, frame(leads, dict.fromkeys(LEADS, pl.String)), payments)


@pytest.fixture
def since():
    """A claim decided anew, one that came, and one that is on record no more."""
    findings = [
        {"claim": one["claim"], "condition": "delimed", "reason": f"Of {one['claim']} now."}
        for one in AGAIN
    ]
    return DecidedSince(
        frame(AGAIN, SCHEMA), frame(findings, polars_schema(Findings)), frozenset({"gone"}), False
    )


def wholly(published, since, desk):
    """The list put together anew from all decisions."""
    decisions = since.instead(published.decisions)
    return order_claims(
        decisions,
        DAY,
        reasons=view._leads(published.leads, since),
        payments=published.payments,
        desk=desk,
        originals=decisions,
    )


def listed(site, published, since):
    """All claims as the page is given them."""
    parted = view._parted(view._rows(site, published, since), DAY)
    return view.Worklist(*parted, {}, DAY, DAY, (), False, ()).all


def test_the_rows_are_those_of_a_list_that_is_made_anew(published, since, tmp_path, monkeypatch):
    """With an original decided again, a claim that went, one that came and one assigned."""
    desk = frame([{"claim": "other", "assigned_to": "ann"}], DESK)
    monkeypatch.setattr(view, "desk_frame", lambda _: desk)
    site = SimpleNamespace(day=DAY, desk=None, workspace=SimpleNamespace(root=Path(tmp_path)))
    rows = listed(site, published, since)
    assert_frame_equal(rows, wholly(published, since, desk))
    told = dict(rows.select("claim", pl.struct("original", "assigned_to", "reason")).iter_rows())
    assert told.keys() == {
        "first", "second", "other", "untouched", "after gone", "settled", "new"
    }  # fmt: skip
    assert told["second"]["original"]["standing"] == "not_covered"
    assert told["after gone"]["original"] is None
    assert told["new"]["original"]["credited"] == Decimal(5)
    assert told["other"]["assigned_to"] == "ann"
    assert told["first"]["reason"] == "Of first now."
    # What was kept is of before everything: once it is taken back, so is what came of it.
    nothing = DecidedSince(since.decisions.clear(), since.findings.clear(), frozenset(), False)
    assert_frame_equal(listed(site, published, nothing), wholly(published, nothing, desk))


@pytest.mark.parametrize("claim", ["first", "second", "untouched", "after gone", "new", "gone"])
def test_one_row_is_that_of_the_whole_list(published, since, claim):
    """Also of a duplicate, whose original is another claim; none of a claim that is gone."""
    desk = frame([{"claim": "second", "hold_until": DAY}], DESK)
    mine = pl.col("claim") == claim
    rows = published.order(DAY, since, desk, mine)
    assert rows.height == (claim != "gone")
    assert_frame_equal(rows, wholly(published, since, desk).filter(mine))


def test_one_row_is_kept_only_where_nothing_bears_on_it(published, since, monkeypatch, tmp_path):
    """What was put together before serves again for a claim that nobody touched, and no other."""
    desk = frame([{"claim": "other", "hold_until": DAY}], DESK)
    monkeypatch.setattr(view, "desk_frame", lambda _: desk)
    monkeypatch.setattr(view, "open_store", lambda _: nullcontext(None))
    monkeypatch.setattr(view, "published_state", lambda *_: None)
    monkeypatch.setattr(view, "_published_of", lambda *_: published)
    site = SimpleNamespace(day=DAY, desk=None, workspace=SimpleNamespace(root=tmp_path))
    whole = {row["claim"]: row for row in wholly(published, since, desk).iter_rows(named=True)}
    claims = [one["claim"] for one in PUBLISHED + AGAIN]
    assert {claim: view.worklist_row(site, claim, since) for claim in claims} == {
        claim: whole.get(claim) for claim in claims
    }
    assert set(claims) - set(whole) == {"gone"}
    made = []
    monkeypatch.setattr(view, "order_claims", lambda *_, **__: made.append(1) or pl.DataFrame())
    assert view.worklist_row(site, "untouched", since) == whole["untouched"]
    assert not made
