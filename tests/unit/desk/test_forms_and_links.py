"""Fields of forms, what a form that was not done holds again, and links from row to row."""

from __future__ import annotations

import asyncio
from types import SimpleNamespace

import pytest

from pipelines.desk import sessions
from pipelines.desk.bodies import Form
from pipelines.desk.controls import Choices, Typed, _chosen, _controls
from pipelines.desk.guard import _misdirected, host_of, is_loopback
from pipelines.desk.operation import Given
from pipelines.desk.pages.morning import _more
from pipelines.desk.pages.rows import _which_feed
from pipelines.desk.performing import _of_form
from pipelines.desk.problems import Problem
from pipelines.desk.serving import _run
from schemas.codes import FEEDS


@pytest.mark.parametrize(
    ("kind", "fields", "value", "wrong"),
    [
        ("text", [("a", " x ")], " x ", None),
        ("text", [("a", "  ")], None, None),
        ("number", [("a", " 12 ")], 12, None),
        ("number", [("a", "")], None, None),
        ("number", [("a", "1.5")], None, "is no whole number."),
        ("flag", [("a", "Yes")], True, None),
        ("flag", [("a", "no")], False, None),
        ("flag", [], False, None),
        ("texts", [("a", "x"), ("a", " "), ("a", "y")], ["x", "y"], None),
        ("texts", [("a", "")], None, None),
        ("numbers", [("a", "1"), ("a", " 2")], [1, 2], None),
        ("numbers", [("a", "1"), ("a", "x")], None, "are no whole numbers."),
        ("numbers", [("a", "")], None, None),
        ("columns", [("a.level", "yes"), ("ab.c", "no"), ("a", "z")], {"level": "yes"}, None),
        ("columns", [], None, None),
        ("place", [("a.file", "c.csv"), ("a.line", " 7 ")], {"file": "c.csv", "line": 7}, None),
        ("place", [("a.file", "c.csv"), ("a.line", "x")], None, "needs the number of a line."),
        ("place", [("a.file", "c.csv")], None, "needs the number of a line."),
        ("place", [("a.line", "7")], None, None),
        ("claims", [("claim", "K1"), ("version", "3")], [{"claim": "K1", "version": 3}], None),
        ("claims", [("claim", "K1"), ("claim", "K 2"), ("seen", "K1 4"), ("seen", "K 2 5")],
         [{"claim": "K1", "version": 4}, {"claim": "K 2", "version": 5}], None),
        ("claims", [("claim", "K1"), ("seen", "K2 4")], None, "need a version each."),
        ("claims", [("claim", "K1")], None, "need a version each."),
        ("claims", [], None, None),
    ],
)  # fmt: skip
def test_a_field_of_a_form_is_read_by_its_kind(
    kind: str, fields: list, value: object, wrong: str | None
) -> None:
    """A blank one is not given; what is no number, or lacks one, is told by its name."""
    errors: list[tuple[str, str]] = []
    assert _of_form("a", Given(kind, {}), Form(fields), errors) == value
    told = [(name, why) for name, why in errors]
    assert told == ([] if wrong is None else [("claims" if kind == "claims" else "a", wrong)])


def typed(*fields: tuple[str, str]) -> Typed:
    """A form that was sent and not done."""
    return Typed("some", Form(list(fields)), Problem(422, "It is wrong."))


def test_a_ruling_of_many_holds_again_what_was_ticked() -> None:
    """Every claim that was seen with its version, and every one that was ticked, in their order."""
    assert _chosen(None) == []
    found = _chosen(typed(("seen", "K1 4"), ("seen", "K2 5"), ("claim", "K2"), ("claim", "K1")))
    assert [(one["kind"], one["value"]) for one in found] == [
        ("hidden", "K1 4"), ("hidden", "K2 5"), ("ticked", "K2"), ("ticked", "K1"),
    ]  # fmt: skip
    assert [one["label"] for one in found[2:]] == ["K2", "K1"]


def operation(kind: str, **more: object) -> SimpleNamespace:
    """An operation with one field."""
    plain = {"name": "some", "path": "/records", "given": {"documents": Given(kind, {}, **more)}}
    return SimpleNamespace(**plain)


@pytest.mark.parametrize("kind", ["texts", "numbers"])
def test_a_list_is_kept_unseen_one_by_one(kind: str) -> None:
    """What it began with, or what was sent, each value in a field of its own."""
    begun = Choices(begin_with={"documents": ["d1", "d2"]})
    sent = typed(("documents", "d3"), ("other", "x"), ("documents", "d4"))
    for form, values in ((None, ["d1", "d2"]), (sent, ["d3", "d4"])):
        found = _controls("documents", operation(kind), begun, form)
        assert [(one["kind"], one["value"]) for one in found] == [("hidden", v) for v in values]
    assert _controls("documents", operation(kind), Choices(), None) == []


@pytest.mark.parametrize(
    ("offset", "total", "links"),
    [
        (0, 60, []),
        (0, 61, [("/?region=US-OR&offset=60", "The next 1")]),
        (0, 500, [("/?region=US-OR&offset=60", "The next 60")]),
        (60, 130, [("/?region=US-OR&offset=0", "The 60 before"),
                   ("/?region=US-OR&offset=120", "The next 10")]),
        (20, 80, [("/?region=US-OR&offset=0", "The 20 before")]),
        (20, 81, [("/?region=US-OR&offset=0", "The 20 before"),
                  ("/?region=US-OR&offset=80", "The next 1")]),
        (120, 130, [("/?region=US-OR&offset=60", "The 60 before")]),
    ],
)  # fmt: skip
def test_sixty_rows_stand_on_a_page_and_links_lead_on(offset: int, total: int, links: list) -> None:
    """What was chosen stays in the links; each says how many rows it leads to."""
    assert _more({"region": "US-OR", "offset": str(offset)}, offset, total) == links


@pytest.mark.parametrize(
    ("claim", "serial", "more", "back"),
    [
        ("K/1", "", "&claim=K%2F1", ("/claims/K%2F1", "Claim K/1")),
        ("", "U 1", "&serial=U+1", ("/units/U%201", "Unit U 1")),
        ("K1", "U1", "&claim=K1&serial=U1", ("/claims/K1", "Claim K1")),
        ("", "", "", ("/", "Morning")),
    ],
)
def test_a_record_begins_with_its_feed_and_what_it_is_about(
    claim: str, serial: str, more: str, back: tuple[str, str]
) -> None:
    """One link a feed, which carries along what is known; the way back is where one came from."""
    found = _which_feed(claim, serial)
    assert found["back"] == back
    links = [link for link, _ in found["links"]]
    assert links
    assert all(link.endswith(more) and link.count("&") == more.count("&") for link in links)
    assert {link.removeprefix("/records?feed=").removesuffix(more) for link in links} <= {*FEEDS}


def test_another_name_for_the_desk_is_refused_as_who_asks_reads_it() -> None:
    """A program gets a problem in JSON, a browser a line of text; both 421."""
    for path, kind in (
        ("/api/v1/claims", "application/problem+json"),
        ("/claims/api/v1", "text/plain; charset=utf-8"),
        ("/", "text/plain; charset=utf-8"),
    ):
        answer = _misdirected(path)
        assert (answer.status_code, answer.headers["content-type"]) == (421, kind)


@pytest.mark.parametrize(
    ("authority", "host", "ours"),
    [
        ("localhost:8765", "localhost", True),
        ("127.0.0.1", "127.0.0.1", True),
        ("[::1]:80", "::1", True),
        ("desk.example.", "desk.example", False),
        ("localhost.example", "localhost.example", False),
        ("192.0.2.1:80", "192.0.2.1", False),
        ("a@localhost", None, None),
        ("localhost:x", None, None),
        ("", None, None),
    ],
)
def test_a_host_is_its_name_without_the_port(
    authority: str, host: str | None, ours: bool | None
) -> None:
    """What hides another name in it is none; this machine goes by few names."""
    assert host_of(authority) == host
    if host is not None:
        assert is_loopback(host) is ours


@pytest.mark.parametrize("comes_up", [True, False])
def test_who_waits_is_told_once_the_desk_answers(comes_up: bool) -> None:
    """Not before, and not at all where it ends without having begun."""
    told: list[bool] = []

    class Server:
        started = False

        async def serve(self, sockets: list) -> None:
            assert sockets == ["listener"]
            await asyncio.sleep(0.05)
            assert told == []
            self.started = comes_up
            await asyncio.sleep(0.05)

    server = Server()
    asyncio.run(_run(server, "listener", lambda: told.append(server.started)))
    assert told == ([True] if comes_up else [])


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [("a", "a", True), ("a", "b", False), ("", "", False), (None, None, False), ("a", None, False),
     (None, "a", False), ("a", "", False)],
)  # fmt: skip
def test_tokens_are_the_same_only_where_there_are_two(
    one: str | None, other: str | None, same: bool
) -> None:
    """Nothing is not the same as nothing."""
    assert sessions.same(one, other) is same


def test_a_form_may_be_sent_for_half_a_day() -> None:
    """What a morning began is still good in the evening: twelve hours of 3,600 seconds."""
    assert sessions.FORM_SECONDS == 43_200
