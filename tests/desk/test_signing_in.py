"""Signing in: sessions, fixation, forms of other sites, open redirects, brute force."""

from __future__ import annotations

import datetime as dt
import re

import pytest
import sqlalchemy as sa
from argon2 import PasswordHasher

from pipelines.actions import Caller
from pipelines.actions.users import set_disabled, set_password, set_role
from pipelines.desk.application import application
from pipelines.desk.entrance import next_of
from pipelines.desk.site import site_of
from pipelines.events import open_desk
from pipelines.events.tables import SESSIONS, USERS
from tests.desk.conftest import DAY, PASSWORD, serve

ADMINISTRATOR = Caller("adm", "Adm Keller", "administrator", "web", DAY)


def test_a_session_begins_and_ends(served) -> None:
    """303 to the first page, a cookie with its marks, and signing out ends it in the database."""
    browser = served.browser()
    shown = browser.get("/sign-in")
    assert shown.status == 200
    answer = browser.sign_in("ada")
    assert (answer.status, answer["location"]) == (303, "/")
    cookie = next(c for c in answer.all("set-cookie") if c.startswith("limeledger_session="))
    parts = {part.strip().lower() for part in cookie.split(";")[1:]}
    assert {"httponly", "samesite=lax", "path=/"} <= parts
    assert "secure" not in parts
    page = browser.get("/audit")
    assert page.status != 303
    kept = dict(browser.cookies)
    assert browser.post("/sign-out", {"csrf_token": page.csrf_token})["location"] == "/sign-in"
    browser.cookies = kept
    assert browser.get("/audit").status == 303


def test_https_keeps_the_cookie_to_itself(folder, passwords_are_quick) -> None:
    """Where people come by https the cookie is Secure, and goes no other way."""
    for served in serve(folder, settings='\n[desk]\npublic_url = "https://desk.example"\n'):
        browser = served.browser(host="desk.example")
        cookies = browser.sign_in("ada").all("set-cookie")
        assert all("Secure" in cookie for cookie in cookies)
        assert len(cookies) == 2
        assert browser.get("/sign-in")["strict-transport-security"].startswith("max-age=")


def test_a_session_is_never_taken_from_the_browser(served) -> None:
    """Session fixation: a planted cookie is not the one that signing in gives, and is ended."""
    other = served.signed_in("rea")
    planted = other.cookies["limeledger_session"]
    browser = served.browser()
    browser.cookies["limeledger_session"] = planted
    shown = browser.get("/sign-in")
    assert shown.status == 303  # it is somebody's
    browser.cookies["limeledger_session"] = "made.up.signature"
    assert browser.sign_in("ada").status == 303
    assert browser.cookies["limeledger_session"] not in (planted, "made.up.signature")


def test_the_database_holds_no_cookie(served) -> None:
    """Who reads the database cannot sign in with what stands there."""
    browser = served.signed_in("ada")
    held = served.site.cookies.held(browser.cookies["limeledger_session"])
    with served.site.desk.reading() as connection:
        (row,) = connection.execute(sa.select(SESSIONS)).mappings()
        users = connection.execute(sa.select(USERS.c.password)).scalars().all()
    assert held
    assert held not in row.values()
    assert all(kept.startswith("$argon2id$") for kept in users)
    assert PASSWORD not in str(users)


@pytest.mark.parametrize(
    "change",
    [
        lambda desk: set_role(desk, desk.workspace, ADMINISTRATOR, user="ada", role="reader"),
        lambda desk: set_password(
            desk, desk.workspace, ADMINISTRATOR, user="ada", password="another long password"
        ),
        lambda desk: set_disabled(desk, desk.workspace, ADMINISTRATOR, user="ada", disabled=True),
    ],
    ids=["role", "password", "disabled"],
)
def test_changes_of_a_user_end_the_sessions(served, change) -> None:
    """Another role, another password, or disabling ends what is open."""
    browser = served.signed_in("ada")
    change(served.site.desk)
    assert browser.get("/audit").status == 303
    assert served.program("rea").get("/healthz").status in (200, 503)


def test_a_session_ends_after_its_hours(served, monkeypatch) -> None:
    """A minute before session_hours it counts, a minute after it does not."""
    monkeypatch.setenv("LIMELEDGER_NOW", "2026-03-31T08:00:00+00:00")
    browser = served.signed_in("ada")
    monkeypatch.setenv("LIMELEDGER_NOW", "2026-03-31T17:59:00+00:00")
    assert browser.get("/audit").status != 303
    monkeypatch.setenv("LIMELEDGER_NOW", "2026-03-31T18:01:00+00:00")
    assert browser.get("/audit").status == 303


def test_wrong_name_and_wrong_password_read_the_same(served, monkeypatch) -> None:
    """Both are 401 with the same words, and both check one password."""
    checked = []
    real = PasswordHasher.verify
    monkeypatch.setattr(PasswordHasher, "verify", lambda *a: (checked.append(1), real(*a))[1])
    told = []
    for user in ("ada", "nobody"):
        answer = served.browser().sign_in(user, "not the password")
        assert answer.status == 401
        told.append(re.sub(r'value="[^"]*"', "", answer.text))
        assert checked == [1]
        checked.clear()
    assert told[0] == told[1]


def test_a_disabled_user_reads_as_a_wrong_password(served) -> None:
    """Nothing tells that there is such a user."""
    set_disabled(served.site.desk, served.site.workspace, ADMINISTRATOR, user="ada", disabled=True)
    assert served.browser().sign_in("ada").status == 401
    program = served.program("ada").get("/api/v1/claims")
    assert program.status == 401
    assert program["content-type"] == "application/problem+json"


def test_five_failures_of_a_name_shut_it(served, folder, monkeypatch) -> None:
    """The sixth try is 429, also if right or after a restart, until the first has aged."""
    monkeypatch.setenv("LIMELEDGER_NOW", "2026-03-31T08:00:00+00:00")
    browser = served.browser()
    for _ in range(5):
        assert browser.sign_in("ada", "not the password").status == 401
    answer = browser.sign_in("ada")
    assert answer.status == 429
    assert answer["retry-after"] == "900"
    assert served.browser(peer="127.0.0.9").sign_in("ada").status == 429
    assert browser.sign_in("leo").status == 303
    desk = open_desk(served.site.workspace)
    restarted = served.browser()
    restarted.app = application(site_of(desk))
    monkeypatch.setenv("LIMELEDGER_NOW", "2026-03-31T08:14:59+00:00")
    answer = restarted.sign_in("ada")
    assert (answer.status, answer["retry-after"]) == (429, "1")
    monkeypatch.setenv("LIMELEDGER_NOW", "2026-03-31T08:15:01+00:00")
    assert restarted.sign_in("ada").status == 303
    desk.close()


def test_twenty_failures_of_an_address_shut_it(served) -> None:
    """Whatever the names: the next is 429 from there, and not from elsewhere."""
    browser = served.browser(peer="127.0.0.7")
    for number in range(20):
        assert browser.sign_in(f"name{number}", "not the password").status == 401
    assert browser.sign_in("leo").status == 429
    assert served.browser().sign_in("leo").status == 303


def test_a_right_password_counts_as_no_failure(served) -> None:
    """Signing in ten times over shuts nothing."""
    for _ in range(10):
        assert served.browser().sign_in("ada").status == 303


@pytest.mark.parametrize(
    "given",
    [
        "https://elsewhere.example/",
        "//elsewhere.example/",
        "/\\elsewhere.example/",
        "\\\\elsewhere.example",
        "/\t/elsewhere.example/",
        "javascript:alert(1)",
        "elsewhere",
        "/sign-out",
        "",
    ],
)
def test_signing_in_leads_to_no_other_site(served, given) -> None:
    """`next` is a path of the desk, or the first page."""
    assert next_of(given) == "/"
    browser = served.browser()
    token = browser.get("/sign-in").csrf_token
    form = {"user": "ada", "password": PASSWORD, "csrf_token": token, "next": given}
    assert browser.post("/sign-in", form)["location"] == "/"


def test_signing_in_goes_on_where_one_was(served) -> None:
    """A page that asks for the sign-in is where one is after it, query and all."""
    browser = served.browser()
    asked = browser.get("/claims/P%2F92?x=1")
    assert (asked.status, asked["location"]) == (303, "/sign-in?next=%2Fclaims%2FP%252F92%3Fx%3D1")
    answer = browser.sign_in("ada", following="/claims/P%2F92?x=1")
    assert answer["location"] == "/claims/P%2F92?x=1"


def test_the_sign_in_form_needs_its_token(served) -> None:
    """Without the token, with another's, or without its cookie: 403, and nobody is signed in."""
    browser = served.browser()
    token = browser.get("/sign-in").csrf_token
    form = {"user": "ada", "password": PASSWORD}
    assert browser.post("/sign-in", form).status == 403
    other = served.browser().get("/sign-in").csrf_token
    assert browser.post("/sign-in", {**form, "csrf_token": other}).status == 403
    assert served.browser().post("/sign-in", {**form, "csrf_token": token}).status == 403
    assert "limeledger_session" not in browser.cookies
    assert browser.post("/sign-in", {**form, "csrf_token": token}).status == 303


def test_the_first_administrator_comes_by_the_link(folder, passwords_are_quick) -> None:
    """Only with the token of the terminal, and only while there is no user."""
    for served in serve(folder, users=False, invitation="a secret of the terminal"):
        browser = served.browser()
        assert browser.get("/first-administrator?token=guess").status == 404
        shown = browser.get("/first-administrator?token=a%20secret%20of%20the%20terminal")
        assert shown.status == 200
        form = {
            "user": "adm",
            "name": "Adm Keller",
            "password": "short",
            "token": "a secret of the terminal",
            "csrf_token": shown.csrf_token,
        }
        refused = browser.post("/first-administrator", form)
        assert refused.status == 422
        assert "Adm Keller" in refused.text
        assert "short" not in re.findall(r'value="([^"]*)"', refused.text)
        assert browser.post("/first-administrator", {**form, "token": "guess"}).status == 404
        form["password"] = PASSWORD
        assert browser.post("/first-administrator", form).status == 303
        assert browser.get("/audit").status != 303
        assert (
            served.browser()
            .get("/first-administrator?token=a%20secret%20of%20the%20terminal")
            .status
            == 404
        )
        with served.site.desk.reading() as connection:
            roles = connection.execute(sa.select(USERS.c.user, USERS.c.role)).all()
        assert [tuple(row) for row in roles] == [("adm", "administrator")]


def test_moments_of_sessions_are_those_of_the_clock(served) -> None:
    """A session's end is session_hours after its beginning."""
    served.signed_in("ada")
    with served.site.desk.reading() as connection:
        (row,) = connection.execute(sa.select(SESSIONS)).all()
    begun, ends = map(dt.datetime.fromisoformat, (row.made_at, row.ends_at))
    assert ends - begun == dt.timedelta(hours=10)
