"""Bringing documents, records and corrections to a desk that has claims, by program and form."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote, urlencode

import pytest

from pipelines.store.reading import kept_open
from pipelines.workspace.layout import Workspace
from tests.desk.conftest import Served, serve
from tests.end_to_end.test_desk_actions import checked, form_on
from tests.shared import made_once

CASES = Path(__file__).parents[1] / "cases" / "worked_claims"
PDF = b"%PDF-1.4\nA page."


@pytest.fixture(scope="module")
def refreshed(run, tools, tmp_path_factory) -> Iterator[Path]:
    """The worked claims, refreshed without figures as of the desk's day."""

    def make(folder: Path) -> str:
        shutil.copytree(CASES / "workspace", folder)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("pipelines.steps.figures.figure_tables", tools["empty_figures"])
            assert run("refresh", folder, "--as-of", "2026-03-31").code in (0, 1)
        return ""

    made, _ = made_once(tmp_path_factory, "desk_records", make)
    folder = shutil.copytree(made, tmp_path_factory.mktemp("records") / "workspace")
    with kept_open(Workspace.open(folder)):  # as a desk at work has it
        yield folder


@pytest.fixture
def desk(refreshed, passwords_are_quick) -> Iterator[Served]:
    """A desk of those claims with nothing done yet."""
    shutil.rmtree(refreshed / "desk", ignore_errors=True)
    yield from serve(refreshed)


def multipart(fields: dict[str, str], name: str, content: bytes) -> dict:
    """A body of multipart/form-data (RFC 7578) with one document."""
    parts = [
        f'--XX\r\nContent-Disposition: form-data; name="{key}"\r\n\r\n{value}\r\n'.encode()
        for key, value in fields.items()
    ]
    head = f'--XX\r\nContent-Disposition: form-data; name="document"; filename="{name}"\r\n'
    kind = b"Content-Type: text/html\r\n\r\n"  # what the sender says counts for nothing
    body = b"".join([*parts, head.encode(), kind, content, b"\r\n--XX--\r\n"])
    return {"body": body, "kind": "multipart/form-data; boundary=XX"}


def test_a_document_is_kept_and_served_to_save(desk) -> None:
    """Known by its bytes, named without a path, served as an attachment that can do nothing."""
    ada = desk.program("ada")
    sent = multipart({"claim": "W05"}, r"C:\\temp\\../a \u00e9 report.pdf", PDF)
    answer = checked(ada.send("POST", "/api/v1/documents", **sent), "POST", "/documents")
    assert answer.status == 201
    assert answer.json["type"] == "application/pdf"
    assert "/" not in answer.json["name"]
    assert "\\" not in answer.json["name"]
    for place in ("/documents", "/api/v1/documents"):
        fetched = ada.get(f"{place}/{answer.json['sha256']}")
        assert (fetched.status, fetched.body) == (200, PDF)
        assert fetched["content-type"] == "application/pdf"
        assert fetched["content-disposition"].startswith("attachment")
        assert fetched["content-security-policy"] == "sandbox; default-src 'none'"
        assert fetched["x-content-type-options"] == "nosniff"
    assert answer.json["name"] in desk.program("rea").get("/claims/W05").text
    for wrong in ("0" * 64, "..%2F..%2Flimeledger.toml", answer.json["sha256"].upper()):
        assert ada.get(f"/documents/{wrong}").status == 404


@pytest.mark.parametrize(
    ("content", "status"),
    [
        (b"<!doctype html><script>alert(1)</script>", 415),
        (b" \n<svg><script/></svg>", 415),
        (b"\x00\x01binary", 415),
        (b"", 422),
        (b"%PDF-" + b"x" * 1_000_001, 413),
    ],
)
def test_what_is_no_document_is_refused(desk, content, status) -> None:
    """HTML and SVG too, whatever they are called; nothing is recorded."""
    if status == 413:
        object.__setattr__(desk.site.settings.desk, "max_document_mb", 1)
    sent = multipart({}, "report.pdf", content)
    answer = desk.program("ada").send("POST", "/api/v1/documents", **sent)
    assert checked(answer, "POST", "/documents").status == status
    assert desk.events(kinds=["document"]) == []


def test_far_too_much_is_not_read_to_its_end(desk) -> None:
    """A body above the limit ends with 413 while the rest of it is still to come."""
    object.__setattr__(desk.site.settings.desk, "max_document_mb", 1)
    ada = desk.program("ada")
    sent = multipart({}, "a.pdf", b"%PDF-" + b"x" * 9_000_000)
    assert ada.send("POST", "/api/v1/documents", **sent).status == 413
    assert ada.unread > 50


RECORD = {"sample": "D-1", "site": "", "sampled_on": "2026-03-20", "point": "supply", "ph": "7.4"}


def _site(desk: Served, claim: str) -> str:
    return desk.program("rea").get(f"/api/v1/claims/{claim}").json["decided"]["site"]


def test_a_record_decides_at_once(desk) -> None:
    """201 with each claim of the site before and after; the claim's page shows it; the same key
    again is 409; withdrawn by whoever may enter it, it is as never made."""
    ada = desk.program("ada")
    values = {
        name: value
        for name, value in (RECORD | {"site": _site(desk, "W05")}).items()
        if name in _columns("water_tests")
    }
    body = {"feed": "water_tests", "values": values, "claim": "W05"}
    answer = checked(ada.call("/records", body, key="r1"), "POST", "/records")
    assert answer.status == 201, answer.text
    assert "W05" in [one["claim"] for one in answer.json["claims"]]
    event = answer.json["event"]
    assert ada.call("/records", body, key="r1").json == answer.json
    assert checked(ada.call("/records", body), "POST", "/records").status == 409
    told = checked(ada.get("/api/v1/claims/W05"), "GET", "/claims/{claim}").json
    assert [one["event"] for one in told["records"]] == [event]
    page = desk.signed_in("ada").get("/corrections")
    assert "D-1" in page.text
    path = f"/records/{event}/withdrawal"
    template = "/records/{event}/withdrawal"
    reason = {"reason": "Typed twice."}
    assert checked(desk.program("rea").call(path, reason), "POST", template).status == 403
    answer = checked(desk.program("eng").call(path, reason), "POST", template)
    assert answer.status == 201
    assert checked(ada.call(path, {"reason": "Again."}), "POST", template).status == 409
    wrong = {"feed": "water_tests", "values": values | {"sampled_on": "soon"}}
    answer = checked(ada.call("/records", wrong), "POST", "/records")
    assert answer.status == 422
    assert answer.json["errors"][0]["field"].startswith("values.")


def test_a_record_by_form_with_its_document(desk) -> None:
    """Multipart: the columns as `values.…`, the document beside them; 303 to the claim."""
    browser = desk.signed_in("ada")
    page = browser.get("/records?feed=water_tests&claim=W05")
    fields = form_on(page, "/records")
    assert fields["values.site"] == _site(desk, "W05")
    assert re.search(r'<select [^>]*name="values.point" required', page.text)  # not a word typed
    assert re.search(r'<input [^>]*name="values.lab" value=""(?! required)', page.text)
    fields |= {"values.sample": "D-2", "values.sampled_on": "yesterday"}
    again = browser.send("POST", "/records", **multipart(fields, "lab.pdf", PDF))
    assert again.status == 422
    assert form_on(again, "/records")["values.sample"] == "D-2"
    assert "write it as YYYY-MM-DD. " in again.text  # no word of mappings, which are of exports
    fields = form_on(again, "/records") | {
        "values.sampled_on": "2026-03-20",
        "values.point": "supply",
    }
    done = browser.send("POST", "/records", **multipart(fields, "lab.pdf", PDF))
    assert (done.status, done["location"]) == (303, "/claims/W05"), done.text[-2000:]
    (event,) = desk.events(kinds=["record"])
    (named,) = desk.events(kinds=["document"])  # none of the form that was refused
    assert event.payload["documents"] == [named.payload["sha256"]]
    assert (named.claim, named.payload["name"], event.via) == ("W05", "lab.pdf", "web")
    assert ">lab.pdf</a>" in browser.get("/claims/W05").text
    saved = browser.get(f"/documents/{named.payload['sha256']}")
    assert saved["content-disposition"] == 'attachment; filename="lab.pdf"'
    path = f"/corrections/{event.event}/withdrawal"
    answer = desk.program("ada").call(path, {"reason": "It is no correction."})
    assert checked(answer, "POST", "/corrections/{event}/withdrawal").status == 404


def _columns(feed: str) -> list[str]:
    from schemas.columns import column_names
    from schemas.feeds import FEED_TABLES

    return column_names(FEED_TABLES[feed])


def test_a_row_is_corrected(desk) -> None:
    """The form holds the row as it is and sends what was changed; a second person who saw the old
    row gets 409; the page of corrections takes it back."""
    ada = desk.program("ada")
    findings = ada.get("/api/v1/claims/W05").json["decided"]["findings"]
    row = next(
        one for finding in findings for one in finding["evidence"] if one["feed"] == "service_calls"
    )
    place = {"feed": "service_calls", "file": row["file"], "line": row["line"]}
    browser = desk.signed_in("ada")
    address = f"/corrections/new?{urlencode(place)}&claim=W05"
    assert address.replace("&", "&amp;") in browser.get("/claims/W05").text
    fields = form_on(browser.get(address), "/corrections")
    fields |= {"values.notes": "Read again from the sheet.", "reason": "It was cut off."}
    done = browser.post("/corrections", fields)
    assert (done.status, done["location"]) == (303, "/claims/W05"), done.text[-2000:]
    (event,) = desk.events(kinds=["correction"])
    assert event.payload["values"] == {"notes": "Read again from the sheet."}
    page = browser.get("/claims/W05").text
    assert "→ Read again from the sheet., ada, It was cut off." in page  # beside its evidence
    body = {**place, "was": {"notes": ""}, "values": {"notes": "x"}, "reason": "y"}
    answer = checked(desk.program("leo").call("/corrections", body), "POST", "/corrections")
    assert answer.status == 409
    assert "ada" in answer.json["detail"]
    listed = checked(ada.get("/api/v1/corrections"), "GET", "/corrections").json
    assert [one["state"] for one in listed["corrections"]] == ["in_force"]
    path = f"/corrections/{event.event}/withdrawal"
    assert desk.program("eng").call(path, {"reason": "No cause."}).status == 403
    fields = form_on(browser.get("/corrections"), path) | {"reason": "Wrong sheet."}
    assert browser.post(path, fields)["location"] == "/corrections"
    assert "withdrawn" in browser.get("/corrections").text


def test_a_claim_number_is_not_taken_from_the_call_that_has_it(desk) -> None:
    """An earlier call would hold it, and the row of an export be set aside: 409, as a key that is
    on file."""
    ada = desk.program("ada")
    sent = ada.send("POST", "/api/v1/documents", **multipart({}, "call.pdf", PDF))
    call = {"call": "TYPED", "kind": "repair", "serial": "W0101", "opened_on": "2024-02-01"}
    body = {"feed": "service_calls", "documents": [sent.json["sha256"]]}
    taken = checked(
        ada.call("/records", body | {"values": call | {"claim": "W01"}}), "POST", "/records"
    )
    assert taken.status == 409, taken.text
    assert taken.json["errors"][0]["field"] == "values.claim"
    findings = ada.get("/api/v1/claims/W08").json["decided"]["findings"]  # it failed before W01's
    rows = [one for finding in findings for one in finding["evidence"]]
    row = next(one for one in rows if one["feed"] == "service_calls")
    place = {"feed": "service_calls", "file": row["file"], "line": row["line"], "reason": "z"}
    body = place | {"was": {"claim": "W08"}, "values": {"claim": "W01"}}
    assert checked(ada.call("/corrections", body), "POST", "/corrections").status == 409
    assert desk.events(kinds=["record", "correction"]) == []


def test_a_number_that_was_mistyped_becomes_another_claim(desk) -> None:
    """The new one is decided, found and shown at once; the old one is told to be gone; rulings are
    made anew and not corrected."""
    ada, browser = desk.program("ada"), desk.signed_in("ada")
    row = ada.get("/api/v1/claims/W21").json["decided"]["findings"][0]["evidence"][0]
    assert row["feed"] == "service_calls"
    place = {"file": row["file"], "line": row["line"], "reason": "Mistyped."}
    body = {**place, "feed": "service_calls", "was": {"claim": "W21"}, "values": {"claim": "W2199"}}
    assert ada.call("/corrections", body).status == 201
    assert (browser.get("/claims/W2199").status, browser.get("/claims/W21").status) == (200, 404)
    assert "is on record no more" in browser.get("/claims/W21").text
    found = {
        wanted: [one["claim"] for one in ada.get(f"/api/v1/search?q={wanted}").json["results"]]
        for wanted in ("w-2199", "W21")
    }
    assert found["w-2199"] == ["W2199"]
    assert "W21" not in found["W21"]
    unseen = ada.call("/claims/W2199/hold", {"until": None}, headers={"if-match": '"of-a-page"'})
    assert (unseen.status, [one["kind"] for one in unseen.json["since"]]) == (412, ["letter"])
    refused = ada.call("/corrections", body | {"feed": "rulings"})
    assert (refused.status, "rule on the claim" in refused.text) == (422, True)
    nowhere = {"feed": "credits", "file": "none", "line": 1, "was": {}, "values": {"claim": "W21"}}
    assert ada.call("/corrections", nowhere | {"reason": "Mistyped."}).status == 404


def test_rows_set_aside_are_listed(desk) -> None:
    """By page and program, filtered by what they hold."""
    ada = desk.program("ada")
    everything = checked(ada.get("/api/v1/set-aside"), "GET", "/set-aside").json
    assert everything["total"] == len(everything["rows"])
    none = ada.get(f"/api/v1/set-aside?q={quote('no such text anywhere')}").json
    assert none == {"rows": [], "total": 0}
    assert desk.signed_in("ada").get("/set-aside").status == 200
    assert ada.get("/corrections/new?feed=units&file=none&line=1").status == 404
    assert ada.get("/corrections/new?feed=units&file=none&line=x").status == 404


def test_letters_are_listed_read_and_marked(desk) -> None:
    """The register by program and page; a frozen letter in each form; what may follow what."""
    ada = desk.program("ada")
    rule = {"ruling": "not_covered", "reason": "Looked at."}
    assert ada.call("/claims/W05/rulings", rule, version=0).status == 201
    listed = checked(ada.get("/api/v1/letters?claim=W05&state=to_send"), "GET", "/letters").json
    (entry,) = [one["entry"] for one in listed["letters"]]
    told = checked(ada.get(f"/api/v1/letters/{entry}"), "GET", "/letters/{entry}").json
    assert told["kind"] == "ruling"
    assert "W05" in told["text"]
    assert checked(ada.get("/api/v1/letters/99999"), "GET", "/letters/{entry}").status == 404
    for form, kind in (("txt", "text/plain"), ("html", "text/html"), ("eml", "message/rfc822")):
        for start in ("", "/api/v1"):
            file = ada.get(f"{start}/letters/{entry}.{form}")
            assert (file.status, file["content-type"].split(";")[0]) == (200, kind)
            assert file["content-disposition"].startswith("attachment")
            assert b"W05" in file.body
    browser = desk.signed_in("ada")
    assert f'href="/letters/{entry}"' in browser.get("/letters").text
    assert f'href="/letters/{entry}"' in browser.get("/claims/W05").text
    path = f"/letters/{entry}/state"
    fields = form_on(browser.get(f"/letters/{entry}"), path) | {"state": "sent"}
    done = browser.post(path, fields)
    assert (done.status, done["location"]) == (303, f"/letters/{entry}")
    template = "/letters/{entry}/state"
    answer = checked(ada.call(path, {"state": "sent"}), "POST", template)
    assert answer.status == 409
    answer = checked(ada.call(path, {"state": "answered", "on": "2026-03-30"}), "POST", template)
    assert answer.status == 201
    sending = {"letters": [entry], "one_mail_per_agency": True}
    assert checked(ada.call("/letters/sending", sending), "POST", "/letters/sending").status == 409
    assert desk.program("eng").call(path, {"state": "closed"}).status == 403


def test_search_and_month_end(desk) -> None:
    """By program and page; files without formulas; only a lead closes, and only when it is over."""
    ada = desk.program("ada")
    found = checked(ada.get("/api/v1/search?q=w-05"), "GET", "/search").json
    assert "W05" in [one["claim"] for one in found["results"]]
    assert checked(ada.get("/api/v1/search?q="), "GET", "/search").status == 422
    assert [ada.get(path).status for path in ("/search", "/search?q=+-")] == [200, 422]
    page = desk.signed_in("ada").get("/search?q=w-05")
    assert '<a href="/claims/W05"' in page.text
    told = checked(ada.get("/api/v1/months/2026-03"), "GET", "/months/{month}").json
    assert told["state"] == "open"
    assert told["rows"]
    assert checked(ada.get("/api/v1/months/soon"), "GET", "/months/{month}").status == 404
    for start in ("", "/api/v1"):
        assert ada.get(f"{start}/months/2026-03.csv").text.startswith("month,measure")
        assert ada.get(f"{start}/months/2026-03.xlsx").body.startswith(b"PK")
    assert desk.signed_in("leo").get("/months/2026-03").status == 200
    assert "decided since" not in ada.get("/months/2026-03").text
    rule = {"ruling": "not_covered", "reason": "Looked at."}
    assert ada.call("/claims/W05/rulings", rule, version=0).status == 201
    assert "; 1 claim was decided since" in ada.get("/months/2026-03").text
    template = "/months/{month}/closing"
    answer = desk.program("leo").call("/months/2026-3/closing", {})
    assert checked(answer, "POST", template).status == 404
    for user, status in (("ada", 403), ("leo", 409)):
        answer = desk.program(user).call("/months/2026-03/closing", {})
        assert checked(answer, "POST", template).status == status
