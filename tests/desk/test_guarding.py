"""What holds for every request: hosts, headers, other sites, proxies, tokens, paths."""

from __future__ import annotations

import re

import pytest

from pipelines.actions import Caller
from pipelines.actions.users import set_role
from pipelines.desk.guard import host_of
from tests.desk.conftest import DAY, serve

POLICY = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "form-action": "'self'",
    "frame-ancestors": "'none'",
    "base-uri": "'none'",
}


def _policy(answer) -> dict[str, str]:
    parts = [part.strip().partition(" ") for part in answer["content-security-policy"].split(";")]
    return {name: value for name, _, value in parts}


@pytest.mark.parametrize(
    "path",
    ["/sign-in", "/", "/healthz", "/assets/limeledger.css", "/nothing", "/api/v1/claims", "/audit"],
)
@pytest.mark.parametrize("who", [None, "ada"])
def test_every_answer_has_its_headers(served, path, who) -> None:
    """Pages, refusals, redirects and files alike."""
    browser = served.signed_in(who) if who else served.browser()
    answer = browser.get(path)
    policy = _policy(answer)
    assert {name: policy[name] for name in POLICY} == POLICY
    assert "unsafe" not in answer["content-security-policy"]
    assert answer["x-content-type-options"] == "nosniff"
    assert answer["referrer-policy"] == "same-origin"
    if not path.startswith("/assets/"):
        assert answer["cache-control"] == "no-store"
    assert answer.get("server") is None


@pytest.mark.parametrize(
    "host",
    [
        "elsewhere.example",
        "127.0.0.1.elsewhere.example",
        "localhost.elsewhere.example:8765",
        "elsewhere.example@127.0.0.1",
        "127.0.0.1/elsewhere",
        "[::1",
        "",
        "10.0.0.5",
    ],
)
def test_another_host_is_misdirected(served, host) -> None:
    """421 whatever the path, and nothing is looked up."""
    for path in ("/", "/healthz", "/sign-in", "/api/v1/claims"):
        answer = served.browser().get(path, host=host)
        assert answer.status == 421
        assert answer["x-content-type-options"] == "nosniff"
    assert answer["content-type"] == "application/problem+json"


@pytest.mark.parametrize(
    "host", ["127.0.0.1", "127.0.0.1:8765", "localhost:9", "[::1]:8765", "LOCALHOST", "127.9.9.9"]
)
def test_this_very_machine_is_itself(served, host) -> None:
    """Its names and addresses, with any port."""
    assert served.browser().get("/sign-in", host=host).status == 200


def test_two_hosts_are_none(served) -> None:
    """A request that names two hosts is for neither."""
    answer = served.browser().get("/sign-in", headers=[("host", "elsewhere.example")])
    assert answer.status == 421


def test_the_public_name_is_ours(folder, passwords_are_quick) -> None:
    """The host of public_url, and the one that the desk was started with."""
    settings = '\n[desk]\npublic_url = "https://desk.example:8443/"\n'
    for served in serve(folder, settings=settings, host="ledger.example"):
        for host in ("desk.example:8443", "desk.example", "ledger.example:8765", "127.0.0.1"):
            assert served.browser().get("/sign-in", host=host).status == 200
        assert served.browser().get("/sign-in", host="other.example").status == 421


def test_hosts_are_read_as_browsers_write_them() -> None:
    """RFC 3986, 3.2.2: names, addresses, brackets, ports."""
    assert host_of("Desk.Example.:80") == "desk.example"
    assert host_of("[::1]:8765") == "::1"
    assert host_of("user@host") is None
    assert host_of("host:port") is None


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://elsewhere.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "https://127.0.0.1:8765"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_forms_of_other_sites_are_refused(served, headers) -> None:
    """Though cookie and token are right: 403, and the session goes on."""
    browser = served.signed_in("ada")
    token = browser.get("/audit").csrf_token
    answer = browser.post("/sign-out", {"csrf_token": token}, headers=headers)
    assert answer.status == 403
    assert browser.get("/audit").status != 303
    good = {"origin": "http://127.0.0.1:8765", "sec-fetch-site": "same-origin"}
    assert browser.post("/sign-out", {"csrf_token": token}, headers=good).status == 303


def test_a_form_needs_the_token_of_its_session(served) -> None:
    """None, a wrong one, another's: 403; as a field or as a header: done."""
    browser, other = served.signed_in("ada"), served.signed_in("leo")
    for token in ("", "x", other.get("/audit").csrf_token):
        assert browser.post("/sign-out", {"csrf_token": token}).status == 403
    token = browser.get("/audit").csrf_token
    assert browser.post("/sign-out", {}, headers={"x-csrf-token": token}).status == 303


def test_get_signs_nobody_out(served) -> None:
    """GET changes nothing."""
    browser = served.signed_in("ada")
    assert browser.get("/sign-out").status in (404, 405)
    assert browser.get("/audit").status != 303


def test_the_api_says_who_is_missing(served) -> None:
    """A program gets 401 and a problem, also for paths that are none."""
    for path in ("/api/v1/claims", "/api/v1/nothing", "/api/v1"):
        answer = served.browser().get(path)
        assert answer.status == 401
        assert answer["content-type"] == "application/problem+json"
        assert answer.json["status"] == 401
        assert answer["www-authenticate"].startswith("Bearer")


def test_tokens_count_for_every_path(served) -> None:
    """Pages too; a made-up token is 401 everywhere, and no cookie helps it."""
    assert (
        served.program("rea").get("/audit").status == served.signed_in("rea").get("/audit").status
    )
    browser = served.signed_in("ada")
    browser.token = "made-up"
    assert browser.get("/audit").status == 401
    assert browser.get("/sign-in").status == 401


@pytest.mark.parametrize("scheme", ["Bearer", "bearer", "BEARER"])
def test_the_scheme_of_a_token_is_read_in_any_case(served, scheme) -> None:
    """RFC 9110, 11.1: an authentication scheme is a case-insensitive token."""
    program = served.program("rea")
    known = program.get("/api/v1/claims").status
    token, program.token = program.token, None
    assert program.get("/api/v1/claims").status == 401 != known
    named = {"authorization": f"{scheme} {token}"}
    assert program.get("/api/v1/claims", headers=named).status == known


PROXY = """
[desk]
trusted_header = "X-Remote-User"
trusted_proxies = ["10.0.0.5", "fd00::/8"]
"""


def test_a_trusted_proxy_names_the_user(folder, passwords_are_quick) -> None:
    """From its address alone; no password page is shown; an unknown or disabled user is 403."""
    for served in serve(folder, settings=PROXY):
        named = {"x-remote-user": "ada"}
        page = served.browser(peer="10.0.0.5").get("/audit", headers=named)
        assert "Ada Marsh" in page.text
        assert served.browser(peer="fd00::1").get("/audit", headers=named).status == page.status
        assert served.browser(peer="10.0.0.6").get("/audit", headers=named).status == 303
        assert served.browser().get("/audit", headers=named).status == 303
        for user in ("nobody", "ADA", "ada, leo"):
            refused = served.browser(peer="10.0.0.5").get("/", headers={"x-remote-user": user})
            assert refused.status == 403
        assert served.browser(peer="10.0.0.5").get("/sign-in").status == 403
        assert "password" not in served.browser(peer="10.0.0.5").get("/sign-in").text.lower()
        assert served.browser().get("/sign-in").status == 200


def test_a_proxys_user_needs_the_forms_token(folder, passwords_are_quick) -> None:
    """The proxy signs in whatever the browser sends, so forms of other sites are told apart."""
    for served in serve(folder, settings=PROXY):
        named = {"x-remote-user": "ada"}
        proxied = served.browser(peer="10.0.0.5")
        body = {"text": "A note."}
        refused = proxied.call("/claims/C1/notes", body, headers=named)
        assert refused.status == 403
        token = served.site.cookies.proxy_token("ada")
        done = proxied.call("/claims/C1/notes", body, headers={**named, "x-csrf-token": token})
        assert done.status in (404, 503)  # nothing is refreshed here


def test_the_proxys_own_word_counts_for_addresses(folder, passwords_are_quick) -> None:
    """What a browser says of its address is dropped; what the proxy saw counts."""
    settings = '\n[desk]\ntrusted_proxies = ["10.0.0.5"]\n'
    for served in serve(folder, settings=settings):
        browser = served.browser(peer="10.0.0.5")
        token = browser.get("/sign-in").csrf_token
        for number in range(20):
            form = {"user": f"n{number}", "password": "x", "csrf_token": token}
            forwarded = {"x-forwarded-for": f"192.0.2.{number}, 198.51.100.7"}
            assert browser.post("/sign-in", form, headers=forwarded).status == 401
        form["user"] = "n21"
        assert browser.post("/sign-in", form, headers=forwarded).status == 429
        other = {"x-forwarded-for": "198.51.100.7, 198.51.100.8"}
        assert browser.post("/sign-in", form, headers=other).status == 401


@pytest.mark.parametrize(
    "path",
    [
        "/assets/../limeledger.toml",
        "/assets/..%2F..%2Flimeledger.toml",
        "/assets/%2e%2e/limeledger.toml",
        "/assets/style.css",
        "/data/..%2F..%2Flimeledger.toml",
        "/data/../../limeledger.toml",
        "/data/.hidden",
        "/handouts/..%2Fdata.html",
        "/handouts/../../limeledger.toml",
        "/claims/..%2F..%2Flimeledger.toml",
        "/claims/%FF",
        "/claims/%00",
        "//etc/passwd",
    ],
)
def test_no_path_leads_out(served, path) -> None:
    """404 or not ready, and nothing of the settings."""
    answer = served.program("ada").get(path)
    assert answer.status in (404, 503)
    assert "America/Denver" not in answer.text.replace("(America/Denver)", "")


def test_assets_are_those_of_the_tool(served) -> None:
    """Style and scripts, without a sign-in; the browser need not fetch them twice."""
    answer = served.browser().get("/assets/limeledger.css")
    assert answer["content-type"].startswith("text/css")
    again = served.browser().get(
        "/assets/limeledger.css", headers={"if-none-match": answer["etag"]}
    )
    assert (again.status, again.body) == (304, b"")
    assert served.browser().get("/assets/desk.js")["content-type"].startswith("text/javascript")
    assert served.browser().get("/assets/status.js").status == 404


def test_pages_have_no_inline_script_or_style(served) -> None:
    """The policy would stop them."""
    for page in (served.browser().get("/sign-in"), served.signed_in("ada").get("/nothing")):
        assert not re.search(r"<script(?![^>]*src=)(?![^>]*json)", page.text)
        assert not re.search(r'\sstyle="|\son[a-z]+="|<style', page.text)


def test_health_tells_that_nothing_was_refreshed(served) -> None:
    """503 until there is a store to read; no sign-in is asked."""
    answer = served.browser().get("/healthz")
    assert (answer.status, answer.json) == (503, {"status": "not ready"})


HALF = "\ud800"  # half of a pair, which JSON can write and no database holds


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/rulings", {"claims": [{"claim": HALF, "version": 0}], "ruling": "covered"}),
        ("/records", {"feed": "units", "values": {"serial": "S"}, "claim": "a\0b"}),
        ("/records", {"feed": "units", "values": {HALF: "S"}}),
        ("/records", {"feed": "units", "values": {}, "settles": {"file": HALF, "line": 2}}),
        ("/corrections", {"feed": "units", "file": HALF, "line": 2, "was": {}, "values": {}}),
        (
            "/corrections",
            {"feed": "units", "file": "u", "line": 2, "was": {"a": "\0"}, "values": {}},
        ),
        ("/claims/K1/assignment", {"to": HALF}),
    ],
)
def test_what_no_text_can_hold_is_refused_before_anything_is_asked(served, path, body) -> None:
    """In any field, at any depth, as a value that is wrong."""
    reason = {} if path.endswith("assignment") else {"reason": "x"}
    reason = {} if path == "/records" else reason
    answer = served.program("ada").call(path, body | reason, version=0)
    assert (answer.status, "no text can hold" in answer.json["detail"]) == (422, True)


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/claims/%00", 404), ("/api/v1/claims/a%00", 404), ("/letters?agency=%00", 422),
        ("/audit?actor=a%00", 422), ("/api/v1/events?claim=%00", 422),
        ("/audit?before=99999999999999999999999", 200),
    ],
)  # fmt: skip
def test_an_address_that_names_nothing_is_refused_plainly(served, path, status) -> None:
    """NUL is in no name, and no event has a number of so many digits."""
    assert served.program("ada").get(path).status == status


def test_a_request_sent_again_is_told_again_whatever_changed_since(served, monkeypatch) -> None:
    """For 24 hours, also where its sender may no longer do it: the first answer, and no event."""
    part = 'Content-Disposition: form-data; name="document"; filename="a.txt"\r\n\r\nRead me.'
    sent = {
        "body": f"--b\r\n{part}\r\n--b--\r\n".encode(),
        "kind": "multipart/form-data; boundary=b",
        "headers": {"idempotency-key": "k"},
    }
    ada, desk = served.program("ada"), served.site.desk
    monkeypatch.setenv("LIMELEDGER_NOW", "2026-03-31T10:00:00+00:00")
    first = ada.send("POST", "/api/v1/documents", **sent)
    assert first.status == 201
    nobody = Caller("root", "root", None, "command", DAY)
    set_role(desk, desk.workspace, nobody, user="ada", role="reader")
    monkeypatch.setenv("LIMELEDGER_NOW", "2026-04-01T10:00:00+00:00")
    again = ada.send("POST", "/api/v1/documents", **sent)
    assert (again.status, again.body) == (201, first.body)
    other = sent | {"body": sent["body"].replace(b"Read", b"Eat")}
    assert ada.send("POST", "/api/v1/documents", **other).status == 422
    monkeypatch.setenv("LIMELEDGER_NOW", "2026-04-01T10:00:01+00:00")
    assert ada.send("POST", "/api/v1/documents", **sent).status == 403
    assert len(served.events(kinds=["document"])) == 1


def test_a_form_without_its_boundary_cannot_be_read(served) -> None:
    """One sentence with one full stop."""
    ada = served.program("ada")
    answer = ada.send("POST", "/api/v1/documents", body=b"x", kind="multipart/form-data")
    assert (answer.status, answer.json["detail"]) == (
        400, "The form cannot be read: Missing boundary in multipart.",
    )  # fmt: skip
