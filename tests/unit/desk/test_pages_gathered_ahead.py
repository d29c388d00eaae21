"""Pages gathered before anybody asks are given out only for what they were gathered from."""

import datetime as dt
from contextlib import nullcontext
from types import SimpleNamespace

import polars as pl
import pytest

from dashboards.formats import file_name
from pipelines.desk import claim_content as room
from pipelines.desk import gathering_child as child
from pipelines.desk.ahead import Ahead, packed
from pipelines.queries.decided_since import DecidedSince
from schemas.columns import polars_schema
from schemas.decisions import Decisions, Findings

DAY = dt.date(2026, 3, 31)
PAGE = {"claim": "K1", "rows": [(DAY, 1)]}


def test_what_rests_on_something_else_is_not_given():
    """Of another publication there is nothing, and what came before it goes."""
    ahead = Ahead()
    ahead.add((1, "a"), {"K1": packed(PAGE)})
    ahead.add((1, "a"), {"K2": packed({"claim": "K2"})})
    assert ahead.content((1, "a"), "K1") == PAGE
    assert ahead.content((1, "a"), "K2") == {"claim": "K2"}
    assert ahead.content((2, "a"), "K1") is None
    assert ahead.content((1, "a"), "K3") is None
    ahead.add((2, "a"), {"K2": packed({"claim": "K2", "is": "new"})})
    assert ahead.content((1, "a"), "K1") is None
    assert ahead.content((2, "a"), "K1") is None
    assert ahead.content((2, "a"), "K2") == {"claim": "K2", "is": "new"}


@pytest.mark.parametrize(
    ("decided", "gone", "is_ahead"), [([], [], True), (["K1"], [], False), ([], ["K1"], False)]
)
def test_a_claim_that_something_bears_on_is_gathered_when_asked_for(
    decided, gone, is_ahead, monkeypatch
):
    """What people did since the refresh shows at once."""
    rows = [dict.fromkeys(polars_schema(Decisions)) | {"claim": one} for one in decided]
    since = DecidedSince(
        pl.DataFrame(rows, schema=polars_schema(Decisions)),
        polars_schema(Findings).to_frame(),
        frozenset(gone),
        False,
    )
    monkeypatch.setattr(room, "rests_on", lambda *_: (1,))
    monkeypatch.setattr(room, "_key", lambda *_: (object(),))
    monkeypatch.setattr(room, "_made", lambda _, claims: {c: {"made": "now"} for c in claims})
    site = SimpleNamespace(
        ahead=Ahead(),
        desk=None,
        day=DAY,
        gathering=SimpleNamespace(of=lambda c, make: make([c])[c]),
    )
    site.ahead.add((1,), {"K1": packed(PAGE)})
    assert room.claim_content(site, "K1", since) == (PAGE if is_ahead else {"made": "now"})
    assert room.claim_content(site, "K2", since) == {"made": "now"}


@pytest.fixture
def laid_out(monkeypatch, tmp_path):
    """Five claims, of which one is published and one was acted on; returns how to gather."""
    (tmp_path / "published" / "claims").mkdir(parents=True)
    (tmp_path / "published" / "claims" / file_name("K2")).touch()
    workspace = SimpleNamespace(root=tmp_path, published=tmp_path / "published")
    desk = SimpleNamespace(close=lambda: None)
    is_open = {"K1": False, "K2": True, "K3": False, "K4": False, "K5": True}
    claims = pl.DataFrame({"claim": list(is_open), "is_open": list(is_open.values())})
    monkeypatch.setattr(child, "open_desk", lambda _: desk)
    monkeypatch.setattr(child, "recorded_of", lambda _: None)
    monkeypatch.setattr(child, "touched_since", lambda _: frozenset({"K3"}))
    monkeypatch.setattr(child, "claims_newest_first", lambda _: claims)
    monkeypatch.setattr(
        child, "contents_of", lambda _, claims: {one: {"claim": one} for one in claims}
    )
    monkeypatch.setattr(child, "rests_on", lambda *_: (1,))

    def gather(hide=(), is_of_its_day=True):
        settings = SimpleNamespace(hide=hide)
        inputs = SimpleNamespace(settings=settings, workspace=workspace)
        now = SimpleNamespace(inputs=inputs, con=None, is_of_its_day=is_of_its_day)
        monkeypatch.setattr(child, "load_inputs", lambda *_: inputs)
        monkeypatch.setattr(child, "store_now", lambda _: nullcontext(now))
        return [(key, sorted(pages)) for key, pages in child.gathered_ahead(workspace, DAY)]

    return gather


def test_the_newest_are_gathered_and_then_open_ones(laid_out, monkeypatch):
    """Without published ones, those that somebody acted on, and older ones that are settled."""
    assert laid_out() == [((1,), ["K1", "K4", "K5"])]
    monkeypatch.setattr(child, "NEWEST", 2)
    assert laid_out() == [((1,), ["K1", "K5"])]
    monkeypatch.setattr(child, "AT_ONCE", 1)
    assert laid_out() == [((1,), ["K1"]), ((1,), ["K5"])]


def test_nothing_is_gathered_where_a_page_could_tell_too_much_or_too_little(laid_out):
    """Where names are hidden, and where the day is not that of the refresh."""
    assert laid_out(hide=("site_name",)) == []
    assert laid_out(is_of_its_day=False) == []


def test_gathering_ends_where_something_was_laid_in(laid_out, monkeypatch):
    """What follows would rest on the old files."""
    monkeypatch.setattr(child, "AT_ONCE", 1)
    keys = iter([(1,), (1,), (2,)])
    monkeypatch.setattr(child, "rests_on", lambda *_: next(keys))
    assert laid_out() == [((1,), ["K1"])]
