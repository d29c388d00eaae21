"""Acting at a desk that has claims: programs, forms, versions, requests sent twice, roles."""

from __future__ import annotations

import csv
import datetime as dt
import html
import json
import re
import shutil
import threading
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import quote

import pytest
from jsonschema import Draft202012Validator

from dashboards.formats import long_day
from pipelines.desk.openapi import document
from pipelines.desk.rendering import claim_path
from pipelines.store.published_state import published_manifest
from pipelines.store.reading import kept_open
from pipelines.workspace.layout import Workspace
from schemas.columns import column_names
from schemas.decisions import Decisions
from tests.desk.conftest import Answer, Served, serve
from tests.shared import made_once

SLASH = "P/92"
HOSTILE = "=W<script>window.planted=1</script>"
NAMED = re.compile(r"\{\w+\}")


@pytest.fixture(scope="module")
def refreshed(run, tools, tmp_path_factory) -> Iterator[Path]:
    """The worked claims, with two whose numbers try something, refreshed without figures."""

    def make(folder: Path) -> str:
        cases = Path(__file__).parents[1] / "cases" / "worked_claims"
        shutil.copytree(cases / "workspace", folder)
        (export,) = (folder / "exports" / "service_calls").glob("*.csv")
        with export.open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        first = next(row for row in rows if row["claim"] == "W01")
        for number, claim in enumerate((SLASH, HOSTILE)):
            rows.append(first | {"claim": claim, "call": f"CALL-9{number}"})
        with export.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, rows[0])
            writer.writeheader()
            writer.writerows(rows)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("pipelines.steps.figures.figure_tables", tools["empty_figures"])
            assert run("refresh", folder, "--as-of", "2026-01-31").code in (0, 1)
        return ""

    made, _ = made_once(tmp_path_factory, "desk_actions", make)
    folder = shutil.copytree(made, tmp_path_factory.mktemp("desk") / "workspace")
    with kept_open(Workspace.open(folder)):  # as a desk at work has it
        yield folder


@pytest.fixture
def desk(refreshed, passwords_are_quick) -> Iterator[Served]:
    """A desk of those claims with nothing done yet."""
    shutil.rmtree(refreshed / "desk", ignore_errors=True)
    yield from serve(refreshed)


def checked(answer: Answer, method: str, template: str) -> Answer:
    """The answer, after a look into the description: status, media type, shape."""
    described = document()["paths"][template][method.lower()]["responses"]
    assert str(answer.status) in described, (answer.status, answer.text)
    content = described[str(answer.status)]["content"]
    assert answer["content-type"] in content
    schema = content[answer["content-type"]].get("schema", {})
    held = {**schema, "components": document()["components"]}
    faults = [e.message for e in Draft202012Validator(held).iter_errors(answer.json)]
    assert faults == []
    return answer


class _Forms(HTMLParser):
    """The forms of a page: action, and what each would send as it is."""

    def __init__(self) -> None:
        super().__init__()
        self.forms: dict[str, list[list[str]]] = {}
        self.at: list[list[str]] | None = None
        self.area: str | None = None

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        if tag == "form":
            self.at = self.forms.setdefault(told.get("action", ""), [])
        elif self.at is None:
            return
        elif tag in ("input", "select", "textarea") and told.get("name"):
            self.at.append([told["name"], told.get("value") or ""])
            self.area = told["name"] if tag == "textarea" else None
        elif tag == "option" and "selected" in told:
            self.at[-1][1] = told.get("value", "")

    def handle_data(self, data):
        if self.at and self.area:
            self.at[-1][1] += data.lstrip("\n")

    def handle_endtag(self, tag):
        if tag == "textarea":
            self.area = None
        elif tag == "form":
            self.at = None


def form_on(page: Answer, action: str) -> dict[str, str]:
    """The fields of the form of an action, as the page fills them."""
    parser = _Forms()
    parser.feed(page.text)
    assert action in parser.forms, sorted(parser.forms)
    return dict(tuple(pair) for pair in parser.forms[action])


def acts(desk, claim: str) -> list:
    """The events of a claim but for its letters, which a ruling gives by itself."""
    return [event for event in desk.events(claim=claim) if event.kind != "letter"]


BODIES = {
    "rulings": {"ruling": "covered", "reason": "Seen on the photo."},
    "appeals": {"received_on": "2026-03-30", "reason": "They disagree."},
    "notes": {"text": "Called them."},
    "assignment": {"to": "leo"},
    "hold": {"until": "2026-04-15", "reason": "Waits for the part."},
}


@pytest.mark.parametrize("claim", ["W02", SLASH, HOSTILE])
@pytest.mark.parametrize("what", BODIES)
def test_an_action_by_a_program(desk, what, claim) -> None:
    """201 with the event, and the claim's new version and ETag: its last event, a letter's too."""
    template, place = f"/claims/{{claim}}/{what}", f"/claims/{quote(claim, safe='')}"
    ada = desk.program("ada")
    version = None if what == "notes" else 0
    answer = ada.call(f"{place}/{what}", BODIES[what], version=version)
    assert checked(answer, "POST", template).status == 201
    (event,) = acts(desk, claim)
    events = [one.event for one in desk.events(claim=claim)]
    assert (answer.json["event"], answer.json["version"]) == (event.event, events[-1])
    assert answer["etag"] == f'"{events[-1]}"'
    assert (event.actor, event.via, event.as_of.isoformat()) == ("ada", "api", "2026-03-31")
    told = checked(ada.get(f"/api/v1{place}"), "GET", "/claims/{claim}").json
    assert told["version"] == events[-1]
    assert sorted(one["event"] for one in told["events"]) == events
    assert set(told["decided"]) == {*column_names(Decisions), "findings"}


@pytest.mark.parametrize("claim", ["W02", SLASH, HOSTILE])
@pytest.mark.parametrize("what", BODIES)
def test_the_same_by_a_form(desk, what, claim) -> None:
    """The page's own form, filled: 303 to the claim's page, which shows it as text."""
    browser = desk.signed_in("ada")
    page = browser.get(claim_path(claim))
    assert page.status == 200
    action = f"{claim_path(claim)}/{what}"
    fields = form_on(page, action) | BODIES[what]
    done = browser.post(action, fields)
    assert (done.status, done["location"]) == (303, claim_path(claim))
    (event,) = acts(desk, claim)
    assert (event.via, event.actor) == ("web", "ada")
    for name, value in BODIES[what].items():
        assert event.payload[name] == value
    after = browser.get(claim_path(claim))
    said = BODIES[what].get("reason") or BODIES[what].get("text") or "Assigned to leo"
    assert html.escape(said) in after.text
    assert "<script>window" not in after.text


def test_what_was_typed_comes_back(desk) -> None:
    """A form that is not done has its status, all that was typed, what is wrong, the way out."""
    browser = desk.signed_in("ada")
    action = "/claims/W02/hold"
    fields = form_on(browser.get("/claims/W02"), action)
    typed = {"until": "2026-03-31", "reason": 'Say "no" & <wait>'}
    page = browser.post(action, fields | typed)
    assert page.status == 422
    again = form_on(page, action)
    assert {name: again[name] for name in typed} == typed
    assert "is not after the desk" in page.text
    assert 'aria-invalid="true"' in page.text
    assert desk.events(claim="W02") == []
    again["until"] = "2026-04-01"
    assert browser.post(action, again).status == 303


def test_two_people_on_one_claim(desk) -> None:
    """The second is told what the first did, keeps what was typed, and can send it again."""
    ada, leo = desk.signed_in("ada"), desk.signed_in("leo")
    action = "/claims/W02/rulings"
    one, other = (form_on(browser.get("/claims/W02"), action) for browser in (ada, leo))
    assert ada.post(action, one | BODIES["rulings"]).status == 303
    mine = {"ruling": "not_covered", "reason": "Not our part."}
    page = leo.post(action, other | mine)
    assert page.status == 412
    assert "Ruled covered" in page.text
    assert "Seen on the photo." in page.text
    again = form_on(page, action)
    assert {name: again[name] for name in mine} == mine
    assert len(acts(desk, "W02")) == 1
    assert leo.post(action, again).status == 303
    assert [event.payload["ruling"] for event in acts(desk, "W02")] == [
        "covered",
        "not_covered",
    ]


def test_a_version_is_needed_and_must_be_the_present_one(desk) -> None:
    """428 without, 412 with what came since, 400 for what is none; a note needs none."""
    ada = desk.program("ada")
    template = "/claims/{claim}/assignment"
    body = {"to": "leo"}
    assert checked(ada.call("/claims/W02/assignment", body), "POST", template).status == 428
    assert ada.call("/claims/W02/assignment", body, version=0).status == 201
    event = desk.events(claim="W02")[0].event
    answer = checked(ada.call("/claims/W02/assignment", body, version=0), "POST", template)
    assert answer.status == 412
    (since,) = answer.json["since"]
    assert (since["event"], since["actor"], since["kind"]) == (event, "ada", "assignment")
    sent = {"if-match": "W/x"}
    assert ada.call("/claims/W02/assignment", body, headers=sent).status == 400
    assert ada.call("/claims/W02/assignment", {"to": None}, version=event).status == 201
    assert len(desk.events(claim="W02")) == 2


def test_two_that_arrive_together(desk) -> None:
    """One is done, the others get 412, whichever comes first."""
    answers: list[int] = []

    def rule() -> None:
        answers.append(
            desk.program("ada").call("/claims/W02/rulings", BODIES["rulings"], version=0).status
        )

    threads = [threading.Thread(target=rule) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers) == [201, 412, 412, 412, 412, 412]
    assert len(acts(desk, "W02")) == 1


def test_a_request_sent_twice_is_done_once(desk) -> None:
    """The first answer again; another body 422; another path or user is another request."""
    ada = desk.program("ada")
    body = {"text": "Called them."}
    first = ada.call("/claims/W02/notes", body, key="k1")
    again = ada.call("/claims/W02/notes", body, key="k1")
    assert (first.status, first.json) == (again.status, again.json)
    assert ada.call("/claims/W02/notes", {"text": "Other."}, key="k1").status == 422
    assert len(desk.events(claim="W02")) == 1
    assert desk.program("leo").call("/claims/W02/notes", body, key="k1").status == 201
    assert ada.call("/claims/W03/notes", body, key="k1").status == 201
    browser = desk.signed_in("ada")
    fields = form_on(browser.get("/claims/W04"), "/claims/W04/notes") | body
    assert browser.post("/claims/W04/notes", fields).status == 303
    assert browser.post("/claims/W04/notes", fields).status == 303
    assert len(desk.events(claim="W04")) == 1


def test_many_are_ruled_or_none(desk) -> None:
    """A version that is not the present one stops all, naming the claim in the way."""
    ada = desk.program("ada")
    assert ada.call("/claims/W03/notes", {"text": "x"}).status == 201
    body = {"claims": [{"claim": c, "version": 0} for c in ("W02", "W03", "W04")]}
    body |= {"ruling": "not_covered", "reason": "Not covered either way."}
    answer = checked(ada.call("/rulings", body), "POST", "/rulings")
    assert answer.status == 409
    assert [error["field"] for error in answer.json["errors"]] == ["W03"]
    assert desk.events(claim="W02") == []
    body["claims"][1]["version"] = desk.events(claim="W03")[0].event
    answer = checked(ada.call("/rulings", body), "POST", "/rulings")
    assert answer.status == 201
    assert [one["claim"] for one in answer.json["rulings"]] == ["W02", "W03", "W04"]
    browser = desk.signed_in("ada")
    token = browser.get("/").csrf_token
    event = desk.events(claim="W02")[-1].event
    pairs = [("claim", "W02"), ("version", str(event)), ("claim", "W05"), ("version", "0")]
    pairs += [("ruling", "covered"), ("reason", "Both."), ("csrf_token", token)]
    assert browser.post("/rulings", pairs)["location"] == "/"
    assert [e.payload["reason"] for e in acts(desk, "W05")] == ["Both."]


def test_ticked_rows_carry_their_versions(desk) -> None:
    """The list's own form sends the version of each row; a conflict keeps the ticks."""
    browser = desk.signed_in("ada")
    page = browser.get("/?group=settled")
    seen = re.findall(r'name="seen" value="([^"]*)"', page.text)
    assert "W02 0" in map(html.unescape, seen)
    desk.program("leo").call("/claims/W03/notes", {"text": "x"})
    pairs = [("seen", html.unescape(one)) for one in seen]
    pairs += [("claim", "W02"), ("claim", "W03"), ("ruling", "covered"), ("reason", "Both.")]
    pairs.append(("csrf_token", page.csrf_token))
    refused = browser.post("/rulings", pairs)
    assert refused.status == 409
    assert refused.text.count('type="checkbox"') == 2
    assert "Both." in refused.text


def test_a_form_without_its_token_records_nothing(desk) -> None:
    """CSRF: 403 whatever else is right; the same for a program's call by cookie."""
    browser = desk.signed_in("ada")
    fields = form_on(browser.get("/claims/W02"), "/claims/W02/notes") | BODIES["notes"]
    del fields["csrf_token"]
    assert browser.post("/claims/W02/notes", fields).status == 403
    assert browser.call("/claims/W02/notes", BODIES["notes"]).status == 403
    assert desk.events(claim="W02") == []
    token = browser.get("/").csrf_token
    done = browser.call("/claims/W02/notes", BODIES["notes"], headers={"x-csrf-token": token})
    assert done.status == 201


MAY = {
    "reader": set(),
    "clerk": set(BODIES),
    "lead": set(BODIES),
    "engineer": {"notes"},
    "administrator": set(),
}
USERS = {"reader": "rea", "clerk": "ada", "lead": "leo", "engineer": "eng", "administrator": "adm"}


@pytest.mark.parametrize("role", MAY)
def test_roles_do_what_they_may(desk, role) -> None:
    """Others get 403 and nothing is recorded; the page offers what the role may do."""
    program = desk.program(USERS[role])
    page = program.get("/claims/W02").text
    for what, body in BODIES.items():
        events, before = desk.events(claim="W02"), len(acts(desk, "W02"))
        version = events[-1].event if events else 0
        answer = program.call(f"/claims/W02/{what}", body, version=version)
        answer = checked(answer, "POST", f"/claims/{{claim}}/{what}")
        assert answer.status == (201 if what in MAY[role] else 403)
        assert len(acts(desk, "W02")) == before + (what in MAY[role])
        assert (f'action="/claims/W02/{what}"' in page) == (what in MAY[role])
    assert (program.get("/users").status == 200) == (role == "administrator")
    for address, action in (("/", "/rulings"), ("/letters?state=all", "/letters/sending")):
        assert (f'action="{action}"' in program.get(address).text) == ("rulings" in MAY[role])


def test_what_is_wrong_is_named_field_by_field(desk) -> None:
    """422 with the field; 400 what cannot be read; 415 another type; 404 no such claim."""
    ada, template = desk.program("ada"), "/claims/{claim}/rulings"
    for body, field in (
        ({"ruling": "covered"}, "reason"),
        ({"ruling": "perhaps", "reason": "x"}, "ruling"),
        ({"ruling": "covered", "reason": "x", "parts_amount": "-1"}, "parts_amount"),
        ({"ruling": "covered", "reason": "x", "parts_amount": 12}, "parts_amount"),
        ({"ruling": "covered", "reason": "x", "paid": True}, "paid"),
        ({"ruling": "covered", "reason": "x", "ruled_at": "soon"}, "ruled_at"),
    ):
        answer = checked(ada.call("/claims/W02/rulings", body, version=0), "POST", template)
        assert answer.status == 422
        assert [error["field"] for error in answer.json["errors"]] == [field]
    path, headers = "/api/v1/claims/W02/rulings", {"if-match": '"0"'}
    for raw in (b"{", b"[]", b'{"a": NaN}', b'{"a": 1, "a": 2}', b"\xff", b'"x"', b"[" * 99_999):
        assert (
            ada.send("POST", path, body=raw, kind="application/json", headers=headers).status == 400
        )
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data"):
        assert ada.send("POST", path, body=b"{}", kind=kind, headers=headers).status == 415
    answer = ada.call("/claims/NONE/rulings", BODIES["rulings"], version=0)
    assert checked(answer, "POST", template).status == 404
    large = json.dumps({"ruling": "covered", "reason": "x" * 4_000_001}).encode()
    answer = ada.send("POST", path, body=large, kind="application/json", headers=headers)
    assert checked(answer, "POST", template).status == 413
    assert ada.unread > 0
    assert desk.events(claim="W02") == []


def test_the_worklist_by_parameters(desk) -> None:
    """Open ones by group in order; held ones leave; settled by `group`; assigned to the caller."""
    ada, template = desk.program("ada"), "/claims"

    def listed(query: str = "") -> list[dict]:
        answer = checked(ada.get(f"/api/v1/claims{query}"), "GET", template)
        assert answer.json["total"] >= len(answer.json["claims"])
        return answer.json["claims"]

    everyone = listed("?limit=1000")
    assert len(everyone) > 5
    order = ["person", "filing", "one_document", "documents", "duplicates", "settled_either_way"]
    places = [order.index(row["group"]) for row in everyone]
    assert places == sorted(places)
    settled = listed("?group=settled&limit=1000")
    assert {row["standing"] for row in settled} <= {"covered", "covered_in_part", "not_covered"}
    assert not {row["claim"] for row in everyone} & {row["claim"] for row in settled}
    first, second = everyone[0]["claim"], everyone[1]["claim"]
    assert [row["claim"] for row in listed("?limit=1&offset=1")] == [second]
    place = claim_path(first)
    assert ada.call(f"{place}/hold", BODIES["hold"], version=0).status == 201
    assert ada.call(f"{claim_path(second)}/assignment", {"to": "ada"}, version=0).status == 201
    assert first not in [row["claim"] for row in listed("?limit=1000")]
    assert [row["claim"] for row in listed("?assigned=me")] == [second]
    assert [row["claim"] for row in listed("?assigned=leo")] == []
    page = desk.signed_in("ada").get("/?assigned=me").text
    page = page[page.index('id="worklist"') : page.index('<div class="panels">')]
    assert f">{second}</a>" in page
    assert f">{everyone[2]['claim']}</a>" not in page
    assert checked(ada.get("/api/v1/claims?group=none"), "GET", template).status == 422
    assert checked(ada.get("/api/v1/claims?limit=0"), "GET", template).status == 422
    assert checked(ada.get("/api/v1/claims?limit=%D9%A3"), "GET", template).status == 422


def test_a_second_person_approves(desk, refreshed) -> None:
    """A ruling that waits: approved by a lead, never by its maker; withdrawn."""
    file = refreshed / "limeledger.toml"
    before = file.read_text(encoding="utf-8")
    file.write_text(f"{before}\n[rulings]\nsecond_person_above = 1\n", encoding="utf-8")
    shutil.rmtree(refreshed / "desk")
    try:
        for served in serve(refreshed):
            ada, leo = served.signed_in("ada"), served.signed_in("leo")
            fields = form_on(ada.get("/claims/W01"), "/claims/W01/rulings") | BODIES["rulings"]
            assert ada.post("/claims/W01/rulings", fields).status == 303
            (event,) = served.events(claim="W01")
            page = ada.get("/claims/W01")
            assert "waits for a second person" in page.text
            approval, withdrawal = (
                f"/rulings/{event.event}/{what}" for what in ("approval", "withdrawal")
            )
            assert f'action="{approval}"' not in page.text
            answer = served.program("ada").call(approval, version=event.event)
            assert checked(answer, "POST", "/rulings/{event}/approval").status == 403
            done = leo.post(approval, form_on(leo.get("/claims/W01"), approval))
            assert (done.status, done["location"]) == (303, "/claims/W01")
            assert "Approved by Leo Quint" in leo.get("/claims/W01").text
            fields = form_on(ada.get("/claims/W01"), withdrawal) | {"reason": "A slip."}
            assert ada.post(withdrawal, fields)["location"] == "/claims/W01"
            assert "withdrawn" in ada.get("/claims/W01").text
            assert served.program("ada").call("/rulings/999/approval", version=1).status in (
                403,
                404,
            )
    finally:
        file.write_text(before, encoding="utf-8")


def test_a_published_claim_page_leads_to_its_own(desk) -> None:
    """Links of published pages name files; the desk knows which claim each is."""
    published = sorted((desk.site.workspace.published / "claims").iterdir())
    assert published
    answer = desk.program("rea").get(f"/claims/{published[0].name}")
    assert answer.status == 303
    assert desk.program("rea").get(answer["location"]).status == 200


def test_a_claim_at_the_desk_states_its_day(desk) -> None:
    """Where the published page refers to its day, the desk, which has no such file, tells it."""
    published = sorted((desk.site.workspace.published / "claims").iterdir())
    letters = [page for page in published if 'class="letter"' in page.read_text("utf-8")]
    assert letters
    rea = desk.program("rea")
    shown = rea.get(rea.get(f"/claims/{letters[0].name}")["location"])
    day = dt.date.fromisoformat(published_manifest(desk.site.workspace.published)["as_of"])
    assert f", as of {long_day(day)}</p>" in shown.text
    assert "data-day" not in shown.text
    assert "@day+1" not in shown.text


def test_published_pages_stand_in_the_desks_frame(desk) -> None:
    """Field, upcoming, data, terms: the same content, the desk's navigation, tables to save."""
    rea = desk.program("rea")
    for name in ("field", "upcoming", "data", "terms", "dictionary"):
        page = rea.get(f"/{name}.html")
        assert page.status == 200
        static = (desk.site.workspace.published / f"{name}.html").read_text(encoding="utf-8")
        heading = re.search(r"<h1>.*?</h1>", static)[0]
        assert heading in page.text
        assert 'href="/set-aside"' in page.text
        assert "http-equiv" not in page.text
    table = rea.get("/data/decisions.csv")
    assert table["content-disposition"].startswith("attachment")
    assert table.body == (desk.site.workspace.published / "data" / "decisions.csv").read_bytes()
    written = desk.site.workspace.published / "handouts" / "rates.html"  # no figure has a row here
    written.write_text("<!doctype html><title>Rates</title>", encoding="utf-8")
    sheet = rea.get("/handouts/rates.html")
    assert sheet.body == written.read_bytes()
    assert sheet["content-type"].startswith("text/html")
    assert sheet["content-security-policy"].startswith("sandbox; default-src 'none'")
    assert "unsafe-inline" in sheet["content-security-policy"]
    assert rea.get("/handouts/nothing.html").status == 404
    assert rea.get("/healthz").json == {"status": "ok"}
