"""Fields of forms, what a form that was not done holds again, and links from row to row."""

from __future__ import annotations

import asyncio
import datetime as dt
from contextlib import nullcontext
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace
from urllib.parse import parse_qsl, urlsplit
from zoneinfo import ZoneInfo

import polars as pl
import pytest

from pipelines.desk import assets, people, rendering, sessions
from pipelines.desk.bodies import Form
from pipelines.desk.controls import Choices, Typed, _cell, _chosen, _controls
from pipelines.desk.guard import _misdirected, host_of, is_loopback
from pipelines.desk.openapi import document
from pipelines.desk.operation import Given
from pipelines.desk.pages import audit, claim, months, morning
from pipelines.desk.pages import letters as letters_page
from pipelines.desk.pages import rows as rows_page
from pipelines.desk.pages.morning import _more
from pipelines.desk.pages.rows import _which_feed
from pipelines.desk.performing import _of_form
from pipelines.desk.problems import Problem
from pipelines.desk.serving import _run
from pipelines.desk.views import rows
from pipelines.errors import Refused
from pipelines.months.calendar import Month
from pipelines.queries.months import AMOUNTS, by_dimension, totals
from schemas.codes import FEEDS
from schemas.columns import fields
from schemas.feeds import FEED_TABLES
from schemas.months import MEASURES, ROWS


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
    ("about", "serial", "more", "back"),
    [
        ("K/1", "", "&claim=K%2F1", ("/claims/K%2F1", "Claim K/1")),
        ("", "U 1", "&serial=U+1", ("/units/U%201", "Unit U 1")),
        ("K1", "U1", "&claim=K1&serial=U1", ("/claims/K1", "Claim K1")),
        ("", "", "", ("/", "Morning")),
    ],
)
def test_a_record_begins_with_its_feed_and_what_it_is_about(
    about: str, serial: str, more: str, back: tuple[str, str]
) -> None:
    """One link a feed, which carries along what is known; the way back is where one came from."""
    found = _which_feed(about, serial)
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


@pytest.mark.parametrize(
    ("named", "peer", "header", "told"),
    [
        (["ada"], "192.0.2.9", "X-User", "ada"),
        ([" ada "], "192.0.2.9", "X-User", "ada"),
        (["", "ada"], "192.0.2.9", "X-User", "ada"),
        ([], "192.0.2.9", "X-User", None),
        (["ada"], "192.0.2.8", "X-User", None),  # no proxy of ours
        (["ada"], "192.0.2.9", None, None),  # nobody is to name users
        (["ada", "leo"], "192.0.2.9", "X-User", "several users in X-User"),
    ],
)
def test_a_proxy_names_one_user_or_none(
    monkeypatch: pytest.MonkeyPatch, named: list[str], peer: str, header: str | None, told: str
) -> None:
    """Two names are one too many: nobody is signed in as either."""
    monkeypatch.setattr(people, "is_trusted", lambda address, _: address == "192.0.2.9")
    site = SimpleNamespace(settings=SimpleNamespace(desk=SimpleNamespace(trusted_header=header)))
    request = SimpleNamespace(
        client=SimpleNamespace(host=peer), headers=SimpleNamespace(getlist=lambda _: named)
    )
    if told and told.startswith("several"):
        with pytest.raises(Problem) as caught:
            people.proxy_user(request, site)
        assert caught.value.status == 403
        assert told in str(caught.value.detail)
    else:
        assert people.proxy_user(request, site) == told


def test_records_that_were_entered_stand_newest_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """Those of one claim alone where one is named, and whether each is still in force."""
    records = [
        SimpleNamespace(
            event=event, feed="startups", claim=claim, values={"level": "yes"}, settles=settles,
            documents=[], actor="ada", at="2026-03-31T12:00:00", withdrawn=withdrawn,
        )
        for event, claim, settles, withdrawn in (
            (3, "K1", None, None), (9, "K2", ("a.csv", 4), None), (5, "K1", None, 7),
        )
    ]  # fmt: skip
    monkeypatch.setattr(rows, "recorded_of", lambda _: SimpleNamespace(records=records))
    site = SimpleNamespace(desk=None)
    told = rows.entered_records(site)
    assert [(one["event"], one["state"]) for one in told] == [
        (9, "in_force"), (5, "withdrawn"), (3, "in_force"),
    ]  # fmt: skip
    assert told[0]["settles"] == {"file": "a.csv", "line": 4}
    assert [one["event"] for one in rows.entered_records(site, "K1")] == [5, 3]


def test_the_audit_is_narrowed_by_who_what_and_on_which_claim(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A word that is no kind narrows nothing; a hundred events stand on a page, then a link."""
    asked: list[dict] = []
    event = SimpleNamespace(
        event=7, at="2026-03-31T12:00:00+00:00", actor="ada", os_user="ada", via="web", claim="K1",
        kind="note", subject=None, payload={"text": "x"},
    )  # fmt: skip

    class Desk:
        def reading(self) -> nullcontext:
            return nullcontext()

        def events(self, _: object, **chosen: object) -> list:
            asked.append(chosen)
            return [event] * 101

    monkeypatch.setattr(audit, "all_users", lambda _: [])
    settings = SimpleNamespace(zone=ZoneInfo("UTC"))
    site = SimpleNamespace(desk=Desk(), settings=settings)
    for query, chosen, older in (
        ({}, (None, None, None, None), "/audit?before=7"),
        ({"claim": " K1 ", "actor": "ada", "kind": "note", "before": "90"},
         ("K1", "ada", ["note"], 90), "/audit?claim=K1&actor=ada&kind=note&before=7"),
        ({"kind": "tale", "before": "x", "actor": " "}, (None, None, None, None),
         "/audit?kind=tale&before=7"),
    ):  # fmt: skip
        told = audit._content(SimpleNamespace(query_params=query), site)
        found = asked.pop()
        assert (found["claim"], found["actor"], found["kinds"], found["before"]) == chosen
        assert (found["limit"], found["newest_first"]) == (101, True)
        assert told["older"] == older
        assert len(told["events"]) == 100
    assert told["events"][0]["said"] == "Note: x"


@pytest.mark.parametrize(
    ("status", "of_file", "leads"),
    [(404, "K 1", "/claims/K%201"), (404, None, None), (403, "K 1", None), (409, None, None)],
)
def test_a_claim_by_its_files_name_leads_to_its_page(
    monkeypatch: pytest.MonkeyPatch, status: int, of_file: str | None, leads: str | None
) -> None:
    """Only where no claim has that number; any other refusal is told as it is."""

    def content(*_: object) -> dict:
        raise Refused(status, "No.")

    monkeypatch.setattr(claim, "content", content)
    monkeypatch.setattr(claim, "claim_of_file", lambda *_: of_file)
    (route,) = claim.routes(SimpleNamespace())
    request = SimpleNamespace(path_params={"claim": "K-1"})
    if leads is None:
        with pytest.raises(Refused) as told:
            route.endpoint(request)
        assert told.value.status == status
    else:
        answer = route.endpoint(request)
        assert (answer.status_code, answer.headers["location"]) == (303, leads)


@pytest.mark.parametrize(
    ("name", "signed_in", "found"),
    [
        (assets.LIBRARY, False, True),
        (assets.LIBRARY, True, True),
        (assets.PRIVATE, False, False),
        (assets.PRIVATE, True, True),
        ("limeledger.toml", True, False),
        ("desk.js", False, True),
    ],
)
def test_what_pages_share_is_anybodys_but_the_note_of_the_last_run(
    tmp_path: Path, name: str, signed_in: bool, found: bool
) -> None:
    """Whoever is not signed in reads libraries and styles alone."""
    folder = tmp_path / "published" / "assets"
    folder.mkdir(parents=True)
    for file in (assets.LIBRARY, assets.PRIVATE, "limeledger.toml"):
        (folder / file).write_text("x", encoding="utf-8")
    workspace = SimpleNamespace(published=tmp_path / "published")
    (route,) = assets.routes(SimpleNamespace(workspace=workspace))
    request = SimpleNamespace(
        path_params={"name": name}, scope={"visitor": "ada" if signed_in else None}, headers={}
    )
    if found:
        assert route.endpoint(request).status_code == 200
    else:
        with pytest.raises(Problem) as told:
            route.endpoint(request)
        assert told.value.status == 404


ROW = {"feed": "units", "file": "a.csv", "line": 3, "kind": "set_aside", "settled_by": None}


@pytest.mark.parametrize(
    ("offset", "total", "more"),
    [
        ("0", 50, None),
        ("0", 51, 50),
        ("50", 100, None),
        ("50", 101, 100),
        ("x", 51, 50),
    ],
)
def test_rows_set_aside_stand_by_fifties(
    monkeypatch: pytest.MonkeyPatch, offset: str, total: int, more: int | None
) -> None:
    """The link to the next ones carries what was chosen; who may not correct gets no link to it."""
    asked: list[dict] = []

    def listed(_: object, given: dict) -> tuple[list, int]:
        asked.append(given)
        return [dict(ROW), ROW | {"kind": "superseded"}, ROW | {"settled_by": 7}], total

    monkeypatch.setattr(rows_page, "set_aside_rows", listed)
    monkeypatch.setattr(rows_page, "visitor", lambda _: None)
    request = SimpleNamespace(query_params={"offset": offset, "feed": "units", "q": " x "})
    for able in (True, False):
        caller = SimpleNamespace(may=lambda _, able=able: able)
        monkeypatch.setattr(rows_page, "caller_of", lambda *_, caller=caller: caller)
        told = rows_page._set_aside(request, SimpleNamespace())
        assert told["total"] == total
        sent = dict(parse_qsl(urlsplit(told["more"] or "").query))
        expected = {"feed": "units", "q": "x", "offset": str(more)} if more else {}
        assert sent == expected
        assert asked[-1]["offset"] == (int(offset) if offset.isdigit() else 0)
        assert [row["correct"] is not None for row in told["rows"]] == [able, able, False]
        assert [row["enter"] is not None for row in told["rows"]] == [able, False, False]


def shell(role: str | None) -> dict:
    """What the frame shows to somebody of a role, or to nobody."""
    user = SimpleNamespace(user="ada", name="Ada Marsh", role=role)
    visitor = None if role is None else SimpleNamespace(user=user, how="cookie", csrf_token="T")
    settings = SimpleNamespace(maker="Tarnfell", timezone="UTC", currency="USD")
    site = SimpleNamespace(settings=settings, day=dt.date(2026, 3, 5))
    return rendering.shell_of(SimpleNamespace(scope={"visitor": visitor}), site)


def test_the_frame_shows_the_day_and_who_is_signed_in() -> None:
    """Nobody has no name and no token; users are kept by an administrator alone."""
    nobody, clerk, admin = shell(None), shell("clerk"), shell("administrator")
    for told in (nobody, clerk, admin):
        assert (told["maker"], told["as_of"], told["day"]) == ("Tarnfell", *["2026-03-05"] * 2)
        assert (told["as_of_long"], told["currency"]) == ("5 March 2026", "USD")
        assert ("/months/2026-03", "Month") in told["desk_pages"]
        assert told["has_search"] is True
    assert (nobody["person"], nobody["csrf_token"]) == (None, "")
    person = {"user": "ada", "name": "Ada Marsh", "role": "clerk", "how": "cookie"}
    assert (clerk["person"], clerk["csrf_token"]) == (person, "T")
    assert rendering.ADMINISTRATOR in admin["more_pages"]
    assert rendering.ADMINISTRATOR not in clerk["more_pages"]
    assert rendering.ADMINISTRATOR not in nobody["more_pages"]


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({}, {"due": "", "assigned": "", "held": "", "to_file": "", "reason": "It waits."}),
        ({"documents_due_on": dt.date(2026, 3, 9), "overdue": False}, {"due": "2026-03-09"}),
        ({"documents_due_on": dt.date(2026, 3, 9), "overdue": True},
         {"due": "overdue: 2026-03-09"}),
        ({"assigned_to": "ada"}, {"assigned": "Ada Marsh"}),
        ({"assigned_to": "gone"}, {"assigned": "gone"}),
        ({"hold_until": dt.date(2026, 4, 1), "held": True}, {"held": "hold until 2026-04-01"}),
        ({"hold_until": dt.date(2026, 3, 5)}, {"held": "back from hold today"}),
        ({"hold_until": dt.date(2026, 3, 4)}, {"held": ""}),
        ({"days_left": 0}, {"to_file": "today"}),
        ({"days_left": 1}, {"to_file": "1 day"}),
        ({"reason": "No test."}, {"reason": "No test."}),
        ({"serial": "U1", "site_name": "Kitchen", "site": "S1", "agency": "A"},
         {"where": "U1, Kitchen, A"}),
        ({"serial": "U1", "site": "S1"}, {"where": "U1, S1"}),
        ({"claim": "K2"}, {"version": 7}),
    ],
)  # fmt: skip
def test_a_row_of_the_worklist_says_what_there_is_to_know(given: dict, told: dict) -> None:
    """What is not known is empty; people by their names."""
    names = ("reason", "original", "serial", "site_name", "site", "agency", "documents_due_on",
             "assigned_to", "days_left", "hold_until", "held", "overdue")  # fmt: skip
    row = dict.fromkeys(names) | {
        "claim": "K1", "why": "It waits.", "standing": "needs_review", "at_stake": Decimal("12.5"),
        "age_days": 3,
    }  # fmt: skip
    work = SimpleNamespace(versions={"K2": 7}, day=dt.date(2026, 3, 5))
    found = morning._row(row | given, work, {"ada": "Ada Marsh"})
    plain = {"version": 0, "word": "Needs review", "money": "12.50", "age": "3 days"}
    assert {name: found[name] for name in {**plain, **told}} == plain | told


def test_actions_on_a_version_are_described_with_its_two_refusals() -> None:
    """412 where the claim has moved on, 428 where no version was given; others have neither."""
    seen = set()
    for methods in document()["paths"].values():
        for described in methods.values():
            if not isinstance(described, dict) or "responses" not in described:
                continue
            headers = {
                one.get("name", "").lower()
                for one in described.get("parameters", ())
                if one.get("in") == "header"
            }
            versioned = "if-match" in headers
            assert {"412", "428"} & set(described["responses"]) == (
                {"412", "428"} if versioned else set()
            )
            seen.add(versioned)
    assert seen == {True, False}


def test_a_list_of_the_api_has_a_thousand_rows_at_most() -> None:
    """As its description says of every reading that is listed."""
    limits = [
        one["schema"].get("maximum")
        for methods in document()["paths"].values()
        for described in methods.values()
        if isinstance(described, dict)
        for one in described.get("parameters", ())
        if one.get("name") == "limit"
    ]
    assert limits
    assert max(limits) == 1_000


@pytest.mark.parametrize(
    ("closed", "may", "able"),
    [(False, True, True), (False, False, False), (True, True, False), (True, False, False)],
)
def test_a_month_is_closed_once_by_whoever_may(
    monkeypatch: pytest.MonkeyPatch, closed: bool, may: bool, able: bool
) -> None:
    """The form stands there as long as it is open; then who closed it, and when."""
    by = SimpleNamespace(by="lea", at="2026-04-03T03:00:00Z")  # the evening before in Denver
    none = pl.DataFrame()
    month = Month(2026, 3)
    told = SimpleNamespace(month=month, closed=by if closed else None, rows=none, shares=none)
    monkeypatch.setattr(months, "month_statement", lambda *_: told)
    monkeypatch.setattr(months, "visitor", lambda _: None)
    monkeypatch.setattr(months, "caller_of", lambda *_: SimpleNamespace(may=lambda _: may))
    monkeypatch.setattr(months, "totals", lambda _: none)
    monkeypatch.setattr(months, "by_dimension", lambda *_: none)
    request = SimpleNamespace(path_params={"month": "2026-03"})
    since = SimpleNamespace(gone=frozenset(), decisions=none)
    monkeypatch.setattr(months, "decided_since", lambda *_: since)
    settings = SimpleNamespace(zone=ZoneInfo("America/Denver"))
    found = months._month(request, SimpleNamespace(desk=None, day=None, settings=settings))
    assert (found["form"] is not None) is able
    assert (found["closed"] or None) == ("Closed by lea on 2026-04-02." if closed else None)
    assert found["title"] == "Month 2026-03"
    assert [address for address, _ in found["beside"]] == ["/months/2026-02", "/months/2026-04"]
    if able:
        assert found["form"]["action"] == "/months/2026-03/closing"


@pytest.mark.parametrize(
    ("offset", "total", "links"),
    [
        (0, 300, []),
        (0, 301, [("300", "Older letters")]),
        (300, 600, [("0", "Newer letters")]),
        (300, 601, [("0", "Newer letters"), ("600", "Older letters")]),
        (100, 500, [("0", "Newer letters"), ("400", "Older letters")]),
    ],
)
def test_letters_are_listed_by_three_hundreds(
    offset: int, total: int, links: list[tuple[str, str]]
) -> None:
    """Links keep what was chosen; the newest ones have none before them."""
    told = letters_page._more({"state": "sent", "agency": "A&B", "claim": None}, offset, total)
    chosen = [(dict(parse_qsl(urlsplit(address).query)), words) for address, words in told]
    assert chosen == [
        ({"state": "sent", "agency": "A&B", "offset": at}, words) for at, words in links
    ]
    sent = ("300", "x", "-1", "", None, "9" * 30)
    assert [letters_page._offset(one) for one in sent] == [300, 0, 0, 0, 0, 999_999_999]


def test_a_column_is_asked_for_in_words_with_its_unit() -> None:
    """And its name beside, as files have it; of a new row what every row needs has to be there."""
    columns = fields(FEED_TABLES["water_tests"])
    key = "values.hardness_mg_l_caco3"
    cell = _cell(key, columns["hardness_mg_l_caco3"], "7", is_new=True)
    assert (cell["label"], cell["hint"]) == (
        "Total hardness, as calcium carbonate (mg/L)", "hardness_mg_l_caco3",
    )  # fmt: skip
    assert (cell["name"], cell["value"], cell["required"]) == (key, "7", False)
    assert _cell("values.sample", columns["sample"], "", is_new=True)["required"] is True
    assert _cell("values.sample", columns["sample"], "", is_new=False)["required"] is False
    assert _cell("values.none", None, "", is_new=True)["label"] == "none"


def test_measures_stand_in_the_order_of_a_month() -> None:
    """Decided, ruled, approved, paid, taken back, then what remains; not by their names."""
    shape = {"claims": 1} | dict.fromkeys(AMOUNTS, Decimal(1))
    rows = [
        dict.fromkeys(ROWS) | shape | {"measure": measure, "state": "now", "family": "Linn"}
        for measure in sorted(MEASURES)
    ]
    frame = pl.DataFrame(rows, schema=ROWS)
    assert totals(frame)["measure"].to_list() == list(MEASURES)
    assert by_dimension(frame, "family")["measure"].to_list() == list(MEASURES)
    frozen = [row | {"state": "frozen"} for row in rows]
    shown = months.where_they_differ([*rows, *frozen], "family")
    assert [row["measure"] for row in shown] == list(MEASURES)
