"""The administrator's Monday at the desk, in Chromium: the whole day, with and without script, by
keyboard, two people on one claim, every page wide and narrow."""

from __future__ import annotations

import datetime as dt
import importlib.util
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from pipelines.actions import Caller, rule, withdraw_ruling
from pipelines.actions.letters import letters, mark
from pipelines.events import Desk, open_desk
from pipelines.workspace.layout import Workspace
from tests.desk.conftest import PASSWORD, with_users
from tests.shared import made_once

ROOT = Path(__file__).parents[2]
CASES = ROOT / "tests" / "cases" / "worked_claims" / "workspace"
REFRESHED = "2026-03-31"  # by the tests of records at the desk too, whose workspace this is
ASKED, DAY = dt.date(2026, 4, 1), "2026-05-15"  # a request for documents, and six weeks later
PDF = {"name": "lab report.pdf", "mimeType": "application/pdf", "buffer": b"%PDF-1.4\nA page."}
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
# A refresh without figures, in a process of its own: Playwright runs a loop in this one.
REFRESH = """
import pipelines.steps.figures
from pipelines.cli.main import main
from schemas.columns import polars_schema
from schemas.field import FIELD_TABLES
pipelines.steps.figures.figure_tables = lambda *_: (
    (name, polars_schema(table).to_frame()) for name, table in FIELD_TABLES.items())
raise SystemExit(main(["refresh", {folder!r}, "--as-of", {day!r}]))
"""


@dataclass
class Visitor:
    """One person's browser: what it logs as an error or asks of another host is kept."""

    context: BrowserContext
    page: Page
    url: str
    faults: list[str]

    def open(self, path: str) -> Page:
        self.page.goto(f"{self.url}{path}")
        return self.page

    def sign_in(self, user: str) -> Page:
        self.open("/sign-in")
        self.page.fill("#user", user)
        self.page.fill("#password", PASSWORD)
        self.page.click("text=Sign in >> nth=-1")
        self.page.wait_for_url(f"{self.url}/")
        return self.page


@pytest.fixture(scope="module")
def desk(tmp_path_factory) -> Iterator[str]:
    """The address of a desk of the worked claims, served by the real command."""

    def make(folder: Path) -> str:
        shutil.copytree(CASES, folder)
        code = REFRESH.format(folder=str(folder), day=REFRESHED)
        ran = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True)
        assert ran.returncode in (0, 1), ran.stderr
        return ""

    made, _ = made_once(tmp_path_factory, "desk_records", make)
    folder = shutil.copytree(made, tmp_path_factory.mktemp("desk") / "workspace")
    opened = open_desk(Workspace.open(folder))
    with_users(opened)
    _ask_for_documents(opened, "W21")
    opened.close()
    command = [sys.executable, "-m", "pipelines.cli", "desk", str(folder), "--port", "0"]
    served = subprocess.Popen(
        [*command, "--as-of", DAY, "--json"], stdout=subprocess.PIPE, text=True, cwd=ROOT
    )
    try:
        yield json.loads(served.stdout.readline())["url"].rstrip("/")
    finally:
        served.terminate()
        served.communicate(timeout=30)


def _ask_for_documents(opened: Desk, claim: str) -> None:
    """Leaves a request for documents to be sent: the ruling of which the agency was told before is
    withdrawn."""
    ada = Caller("ada", "Ada Marsh", "clerk", "command", ASKED)
    on = (opened, opened.workspace, ada)
    given = {"claim": claim, "expected_version": "present", "reason": "Seen on paper."}
    ruled = rule(*on, ruling="covered", **given)
    (told,) = letters(opened, opened.workspace, claim=claim, state="to_send")
    mark(*on, entry=told["entry"], state="sent")
    withdraw_ruling(*on, event=ruled["event"], reason="Another unit.", expected_version="present")
    (asks,) = letters(opened, opened.workspace, claim=claim, state="to_send")
    assert (asks["kind"], asks["due_on"] < DAY) == ("documents", True)


@pytest.fixture
def visitors(browser: Browser, desk: str):
    """Opens browsers, each with its own cookies."""
    opened = []

    def visitor(*, script=True, width=1366, height=768, scheme="light") -> Visitor:
        context = browser.new_context(
            viewport={"width": width, "height": height},
            color_scheme=scheme,
            java_script_enabled=script,
            timezone_id="America/Denver",
        )
        opened.append(context)
        page = context.new_page()
        faults: list[str] = []
        page.on(
            "console",
            lambda m: faults.append(m.text) if m.type in ("error", "warning") else None,
        )
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on(
            "request",
            lambda r: None if r.url.startswith((desk, "data:", "blob:")) else faults.append(r.url),
        )
        return Visitor(context, page, desk, faults)

    yield visitor
    for context in opened:
        context.close()


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_the_administrators_monday(visitors, script) -> None:
    """Sign in, pick a group, open a claim, take it, write a note, rule, look, sign out."""
    visitor = visitors(script=script)
    page = visitor.sign_in("ada")
    first = page.locator("#worklist tr.row").first
    assert first.bounding_box()["y"] + first.bounding_box()["height"] <= 768
    page.click("text=Filter")
    page.select_option("select[name=group]", "person")
    page.click(".filters button")
    page.wait_for_url("**/?*group=person*")
    claim = page.locator("#worklist tr.row a").first.inner_text()
    page.click(f"#worklist >> text={claim} >> nth=0")
    expect(page.locator("h1")).to_have_text(f"Claim {claim}")
    page.click("#assign summary")
    page.select_option("#assign select", "ada")
    page.click("#assign .do-it")
    expect(page.locator(".desk-state")).to_contain_text("Assigned to Ada Marsh.")
    page.click("#note summary")
    page.fill("#note textarea", "They send the <b>sheet</b>.\nBy Friday.")
    page.click("#note .do-it")
    expect(page.locator("#notes + ol")).to_contain_text("They send the <b>sheet</b>.")
    page.click("#rule summary")
    page.select_option("#rule select", "not_covered")
    page.fill("#rule textarea", "Looked at.")
    page.click("#rule .do-it")
    expect(page.locator("#desk-rulings + ol")).to_contain_text("Not covered, in force")
    page.goto(f"{visitor.url}/?assigned=me")
    page.goto(f"{visitor.url}/audit")
    # A ruling gives its letter, which is an event of its own.
    expect(page.locator("table.audit tbody tr").nth(0)).to_contain_text("Letter ")
    expect(page.locator("table.audit tbody tr").nth(1)).to_contain_text("Ruled not covered")
    page.click(".person summary")
    page.click("text=Sign out")
    page.wait_for_url("**/sign-in")
    visitor.open("/audit")
    assert "/sign-in?next=" in page.url
    assert visitor.faults == []


def test_the_whole_day(visitors) -> None:
    """Triage, a call about an old claim, a lab report in the mail, a hold, an appeal, letters, and
    a month that a lead closes on a telephone without script."""
    ada, leo = visitors(), visitors(script=False, width=390, height=844)
    page = ada.sign_in("ada")
    _rule_on_two(page, "W09", "W15")

    page.fill("#find", "call 21")
    page.press("#find", "Enter")
    page.click("main li a >> text=W21")
    expect(page.locator("h1")).to_have_text("Claim W21")
    page.click(".next >> text=Send the request for documents")
    page.click("main tbody th a")
    expect(page.locator(".facts")).to_contain_text("2026-05-01")
    page.click("#mark-letter summary")
    page.select_option("#mark-letter select", "sent")
    page.fill("#mark-letter input[type=date]", "2026-04-02")
    page.click("#mark-letter .do-it")
    expect(page.locator(".facts")).to_contain_text("2026-04-02")

    ada.open("/claims/W21")
    page.click("text=Enter what came in")
    page.click("main >> text=Water tests")
    for name, value in {"sample": "LAB-21", "sampled_on": "2024-08-01", "ph": "7.2"}.items():
        page.fill(f"[name='values.{name}']", value)
    page.select_option("[name='values.point']", "supply")
    page.set_input_files("[name=document]", PDF)
    page.click(".do-it")
    expect(page.locator("#documents + ul")).to_contain_text("lab report.pdf")
    expect(page.locator("#letters + ul")).to_contain_text("reminder, to send")
    expect(page.locator(".next")).to_contain_text("Send the reminder")

    page.click("text=Correct a row")
    page.click("#correct-row >> text=LAB-21")
    page.fill("[name='values.hardness_mg_l_caco3']", "90")
    page.fill("[name=reason]", "The page says 90.")
    page.click(".do-it")
    expect(page.locator(".differs")).to_contain_text("say: needs evidence")
    expect(page.locator("#letters + ul")).not_to_contain_text("reminder, to send")
    expect(page.locator("#letters + ul")).to_contain_text("decision, to send")

    ada.open("/claims/W05")
    page.click("#keep-document summary")
    page.set_input_files("#keep-document [type=file]", PDF)
    page.click("#keep-document .do-it")
    expect(page.locator("#documents + ul a")).to_have_text("lab report.pdf")
    page.click("#hold summary")
    page.fill("#hold input[type=date]", "2026-06-14")
    page.fill("#hold textarea", "The report is on its way.")
    page.click("#hold .do-it")
    expect(page.locator(".next")).to_contain_text("Wait until 2026-06-14")
    ada.open("/claims/W09")
    page.click("#appeal summary")
    page.fill("#appeal textarea", "They have the fax.")
    page.click("#appeal .do-it")
    ada.open("/")
    expect(page.locator("#group-person")).to_contain_text("They have the fax.")
    expect(page.locator("#worklist")).not_to_contain_text("W05")

    ada.open("/months/2026-03")
    expect(page.locator("text=Close the month")).to_have_count(0)
    page = leo.sign_in("leo")
    page.click("nav >> text=Month")
    for month in ("2026-04", "2026-03"):
        page.click(f"text=Before it: {month}")
        expect(page.locator("h1")).to_have_text(f"Month {month}")
    page.click("text=Close the month >> nth=0")
    page.fill("#close-month textarea", "All letters are out.")
    page.click("#close-month .do-it")
    expect(page.locator(".lead")).to_contain_text("Closed by Leo Quint on ")
    with page.expect_download() as saved:
        page.click("text=XLSX")
    assert saved.value.suggested_filename == "month-2026-03.xlsx"
    assert ada.faults + leo.faults == []


def _rule_on_two(page: Page, *claims: str) -> None:
    """Ticks claims on the list and rules on them at once."""
    for claim in claims:
        page.check(f"#worklist input[value={claim}]")
    page.click("#rule-many summary")
    page.select_option("#rule-many select", "not_covered")
    page.fill("#rule-many textarea", "Nothing came.")
    page.click("#rule-many .do-it")
    expect(page.locator("#worklist")).not_to_contain_text(claims[0])
    for claim in claims:
        expect(page.locator("#done + ul")).to_contain_text(claim)


def test_two_browsers_on_one_claim(visitors) -> None:
    """The later one is told what was done meanwhile, and loses nothing of what was typed."""
    ada, leo = visitors(), visitors(width=390, height=844)
    for visitor, user in ((ada, "ada"), (leo, "leo")):
        visitor.sign_in(user)
        visitor.open("/claims/W06")
        visitor.page.click("#hold summary")
        visitor.page.fill("#hold input[type=date]", "2026-06-14")
        visitor.page.fill("#hold textarea", f"Typed by {user}.")
    ada.page.click("#hold .do-it")
    expect(ada.page.locator(".desk-state")).to_contain_text("On hold until 2026-06-14")
    leo.page.click("#hold .do-it")
    problem = leo.page.locator("#problem")
    expect(problem).to_contain_text("has changed since you saw it")
    expect(problem).to_contain_text("Typed by ada.")
    expect(problem).to_be_focused()
    assert leo.page.input_value("textarea") == "Typed by leo."
    assert leo.page.input_value("input[type=date]") == "2026-06-14"
    leo.page.click(".do-it")
    expect(leo.page.locator(".desk-state")).to_contain_text("Typed by leo.")


def test_by_keyboard_alone(visitors) -> None:
    """Sign in, walk the list, open a claim, open a form, send it: no mouse."""
    visitor = visitors()
    page = visitor.open("/sign-in")
    expect(page.locator("#user")).to_be_focused()
    page.keyboard.type("leo")
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url(f"{visitor.url}/")
    for _ in range(3):
        page.keyboard.press("j")
    page.keyboard.press("k")
    here = page.locator("tr.here a")
    expect(here).to_be_focused()
    row = page.locator("tr.here").bounding_box()
    assert row["y"] >= 0
    assert row["y"] + row["height"] <= 768
    claim = here.inner_text()
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_have_text(f"Claim {claim}")
    page.locator("#note summary").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.type("By keyboard.")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#notes + ol")).to_contain_text("By keyboard.")
    page.wait_for_load_state("load")  # the keys are there once the page's script has run
    page.keyboard.press("?")
    expect(page.locator("#help")).to_be_visible()
    assert visitor.faults == []


@pytest.fixture(scope="session")
def axe() -> str:
    """The source of axe-core."""
    package = importlib.util.find_spec("axe_playwright_python")
    if package is None:
        if os.environ.get("LIMELEDGER_BROWSER_REQUIRED"):
            pytest.fail("axe-playwright-python is not installed")
        pytest.skip("axe-playwright-python is not installed")
    return (Path(package.origin).parent / "axe.min.js").read_text(encoding="utf-8")


PAGES = (
    "/",
    "/claims/W06",
    "/units/W2101",
    "/audit",
    "/set-aside",
    "/letters?state=all",
    "/search?q=w",
    "/months/2026-03",
    "/corrections",
    "/records?feed=water_tests&claim=W06",
    "/field.html",
    "/terms.html",
)


@pytest.mark.parametrize(
    ("width", "height", "scheme"), [(1366, 768, "light"), (390, 844, "dark")], ids=["wide", "phone"]
)
def test_pages_are_clean_and_accessible(visitors, axe, width, height, scheme) -> None:
    """Nothing logged, nothing wider than the screen, no violation of WCAG 2.2 AA, forms open."""
    visitor = visitors(width=width, height=height, scheme=scheme)
    told: list[str] = []
    told += _violations(visitor.open("/sign-in"), axe, "/sign-in")
    visitor.sign_in("ada")
    for path in PAGES:
        told += _violations(visitor.open(path), axe, path)
    refused = visitor.open("/claims/W06")
    refused.click("#hold summary")
    refused.fill("#hold input[type=date]", "2020-01-01")
    refused.fill("#hold textarea", "x")
    refused.click("#hold .do-it")
    told += _violations(refused, axe, "a form that is not done")
    other = visitors(width=width, height=height, scheme=scheme)
    other.sign_in("adm")
    told += _violations(other.open("/users"), axe, "/users")
    assert told == []
    unwanted = [f for f in visitor.faults + other.faults if "422" not in f]
    assert unwanted == []


def _violations(page: Page, axe: str, path: str) -> list[str]:
    widths = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    told = [f"{path} scrolls sideways: {widths}"] if widths[0] > widths[1] else []
    for summary in page.locator("main details:not([open]) > summary").all()[:8]:
        if summary.is_visible():
            summary.click()
    # Wherever the last click has scrolled to, the bar that stays on top lies over something.
    page.evaluate("scrollTo({top: 0, behavior: 'instant'})")
    page.evaluate(axe)
    found = page.evaluate("tags => axe.run(document, {runOnly: tags})", WCAG)
    return told + [
        f"{path} {v['id']}: {v['help']} {v['nodes'][0]['html'][:160]} "
        f"{v['nodes'][0]['failureSummary'][:200]}"
        for v in found["violations"]
    ]


def test_the_list_prints_whole(visitors) -> None:
    """On paper every row of the page stands with its serial, and no control."""
    visitor = visitors()
    page = visitor.sign_in("ada")
    page.emulate_media(media="print")
    assert not page.locator(".filtering").is_visible()
    assert not page.locator("#worklist input[type=checkbox]").first.is_visible()
    cut = page.evaluate(
        """() => [...document.querySelectorAll("#worklist td, #worklist th")]
        .filter((cell) => cell.scrollWidth > cell.clientWidth + 1 && cell.offsetWidth).length"""
    )
    assert cut == 0
    assert page.pdf().startswith(b"%PDF-")


def test_a_unit_prints_whole(visitors) -> None:
    """On paper stand its life, start-ups, each test against its limits, calls, claims and letters,
    nothing cut off, no control."""
    visitor = visitors()
    visitor.sign_in("ada")
    page = visitor.open("/units/W2001")
    page.wait_for_selector("html[data-drawn=yes]", timeout=60_000)
    on_screen = page.locator("main h2:visible").all_inner_texts()
    assert {"The unit’s life", "Start-ups", "Water tests", "Treatment bought"} <= {*on_screen}
    controls = page.locator("button, input, select, textarea, summary, .acts a, .bar nav a").all()
    assert any(one.is_visible() for one in controls)
    limits = page.locator("main .panel details table td")
    assert limits.count() > 4
    assert not limits.first.is_visible()
    page.emulate_media(media="print")
    # The sheet's width between its margins: 216 mm less twice 13 mm, at 96 pixels an inch.
    page.set_viewport_size({"width": 718, "height": 980})
    assert page.locator("main h2:visible").all_inner_texts() == on_screen
    assert page.locator("main svg").first.is_visible()
    assert limits.first.is_visible()
    assert limits.last.is_visible()
    assert [one.evaluate("each => each.outerHTML") for one in controls if one.is_visible()] == []
    cells = "main td, main th, main p, main li, main svg"
    cut = page.evaluate(
        """cells => [...document.querySelectorAll(cells)]
        .filter((each) => each.offsetWidth && each.scrollWidth > each.clientWidth + 1
            || each.getBoundingClientRect().right > innerWidth + 1)
        .map((each) => each.outerHTML.slice(0, 200))""",
        cells,
    )
    assert cut == []
    pdf = page.pdf(prefer_css_page_size=True)
    sides = len([part for part in pdf.split(b"/Type /Page")[1:] if part[:1] != b"s"])
    assert sides <= 2
    assert visitor.faults == []
