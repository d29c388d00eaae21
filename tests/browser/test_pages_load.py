"""Every kind of page, wide and narrow, light and dark: it loads offline, clean and accessible."""

from __future__ import annotations

import importlib.util
import json
import os
from pathlib import Path

import pytest

from dashboards.formats import file_name
from tests.unit.dashboards import what_if_sample

PAGES = (
    "index.html",
    "field.html",
    "failures.html",
    "handouts/regions.html",
    "upcoming.html",
    "data.html",
    "terms.html",
    "claim",
)
WIDE_LIGHT = {"width": 1280, "height": 900, "scheme": "light"}
PHONE_DARK = {"width": 390, "height": 844, "scheme": "dark"}
# The success criteria of WCAG 2.0 to 2.2, levels A and AA, as axe-core tags its rules.
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def _address(page: str, sample) -> str:
    return f"claims/{file_name(sample.claim_number(3))}" if page == "claim" else page


@pytest.fixture(scope="session")
def axe() -> str:
    """The source of axe-core."""
    package = importlib.util.find_spec("axe_playwright_python")
    if package is None:
        if os.environ.get("LIMELEDGER_BROWSER_REQUIRED"):
            pytest.fail("axe-playwright-python is not installed")
        pytest.skip("axe-playwright-python is not installed")
    return (Path(package.origin).parent / "axe.min.js").read_text(encoding="utf-8")


@pytest.mark.parametrize("visit", [WIDE_LIGHT, PHONE_DARK], indirect=True, ids=["wide", "phone"])
@pytest.mark.parametrize("page", PAGES)
def test_page_is_clean_and_accessible(visit, sample, axe, page) -> None:
    """No console message, no request, nothing wider than the screen, no WCAG 2.2 AA violation."""
    _check(visit, _address(page, sample), axe)


@pytest.mark.parametrize("visit", [WIDE_LIGHT, PHONE_DARK], indirect=True, ids=["wide", "phone"])
def test_the_page_of_other_terms_is_clean_and_accessible(visit, axe) -> None:
    """The same for the page that `what-if` writes."""
    (visit.site / "what-if.html").write_text(what_if_sample.page(), encoding="utf-8")
    _check(visit, "what-if.html", axe)


def _check(visit, address: str, axe: str) -> None:
    shown = visit.open(address)
    assert visit.faults == []
    widths = shown.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert widths[0] <= widths[1], "the page scrolls sideways"
    for summary in shown.locator("main details > summary").all()[:6]:
        if summary.is_visible():
            summary.click()
    # Playwright evaluates outside the page's content security policy, which forbids inline code.
    shown.evaluate(axe)
    found = shown.evaluate("tags => axe.run(document, {runOnly: tags})", WCAG)
    told = [
        f"{violation['id']}: {violation['help']} {violation['nodes'][0]['html'][:200]} "
        f"{violation['nodes'][0]['failureSummary'][:300]}"
        for violation in found["violations"]
    ]
    assert told == []


@pytest.mark.parametrize("place", [0, 1])
def test_hostile_claims_run_nothing(visit, sample, place) -> None:
    """Scripts planted in a claim's number, site, reasons, labels, cells and letter stay text."""
    shown = visit.open(f"claims/{file_name(sample.claim_number(place))}")
    assert shown.locator("h1").inner_text() == f"Claim {sample.claim_number(place)}"
    assert shown.evaluate("window.planted") is None
    assert visit.faults == []


def test_the_list_shows_hostile_names_as_text(visit, sample) -> None:
    """A site's name with a script in it stands in the worklist, and runs nothing."""
    shown = visit.open("index.html")
    shown.fill("[data-filter=q]", "window.planted")
    assert sample.SCRIPT in shown.locator("tr.row .c-site").first.text_content()
    assert shown.evaluate("window.planted") is None
    assert visit.faults == []


def test_charts_have_marks_and_words(visit, sample) -> None:
    """A claim's two charts are drawn, and their marks are described for screen readers."""
    shown = visit.open(f"claims/{file_name(sample.claim_number(3))}")
    assert shown.locator(".chart svg").count() == 2
    labels = shown.locator("#water-chart [aria-label]").evaluate_all(
        "marks => marks.map(mark => mark.getAttribute('aria-label'))"
    )
    assert "412.5 mg/L" in " ".join(labels)
    axis = shown.locator("#life-chart").inner_text()
    assert "Parts cover" in axis
    assert "failure" in axis


def test_days_in_charts_keep_their_day_west_of_greenwich(visit, sample) -> None:
    """A day drawn in Denver is the day of the records, not the evening before."""
    shown = visit.open(f"claims/{file_name(sample.claim_number(3))}")
    day = shown.evaluate(
        """() => {
          const find = (node) => (node.items || []).map(find).find(Boolean)
            || (node.datum && node.datum.label === "failure" ? node.datum.on : null);
          const chart = document.getElementById("life-chart");
          const drawn = find(LimeledgerCharts.view(chart).scenegraph().root);
          return new Date(drawn).toDateString();
        }"""
    )
    assert day == f"{sample.decision(3)['failed_on']:%a %b %d %Y}"


def test_a_claim_page_tells_the_day_of_the_shared_file(visit, browser, sample) -> None:
    """Above, below, in the letter and on paper; without scripts it refers to the Morning page."""
    address = f"claims/{file_name(sample.claim_number(3))}"
    shown = visit.open(address)
    day = json.loads((visit.site / "assets/day.js").read_text().split(" = ")[1].strip(";\n"))
    assert shown.locator(".as-of").inner_text() == f"As of {day['long']}"
    assert f", as of {day['iso']} (" in shown.locator("footer").inner_text()
    assert f", as of {day['long']}" in (shown.locator(".letter").text_content() or "")
    assert shown.locator("[data-day]").count() == 0
    context = browser.new_context(java_script_enabled=False, offline=True)
    plain = context.new_page()
    plain.goto(f"{visit.site.as_uri()}/{address}")
    assert plain.locator(".as-of").inner_text() == "As of the day that the Morning page states"
    plain.click(".as-of a")
    assert plain.locator(".as-of").inner_text() == f"As of {day['long']}"
    context.close()
    assert not visit.faults


def test_light_and_dark_can_be_chosen(visit) -> None:
    """The button changes the colors, charts included, and the choice outlives the page."""
    shown = visit.open("data.html")
    mark = shown.locator(".plot svg path[fill*='--series-1']").first
    before = mark.evaluate("node => getComputedStyle(node).fill")
    shown.click("#theme")
    assert shown.evaluate("document.documentElement.dataset.theme") == "dark"
    assert mark.evaluate("node => getComputedStyle(node).fill") != before
    visit.open("terms.html")
    assert shown.evaluate("document.documentElement.dataset.theme") == "dark"


def test_a_failed_refresh_is_told_on_every_page(visit, sample) -> None:
    """The one file that a failed refresh replaces puts its reason at the top, as text."""
    status = visit.site / "assets" / "status.js"
    before = status.read_text(encoding="utf-8")
    status.write_text(
        'window.limeledgerStatus = {"failed_at": "2026-04-02T02:15:00+00:00", '
        '"reason": "terms/b.toml: \\u003cb> is no key."};',
        encoding="utf-8",
    )
    try:
        for page in PAGES:
            if page.startswith("handouts/"):
                continue  # without scripts, to be sent on: it says of which day it is
            shown = visit.open(_address(page, sample))
            assert shown.locator(".note").inner_text() == (
                "A refresh failed on 2026-04-02 at 02:15 UTC, so these pages are older than they "
                "should be. terms/b.toml: <b> is no key."
            )
    finally:
        status.write_text(before, encoding="utf-8")


def test_a_claim_prints_on_two_sides(visit, sample, tmp_path) -> None:
    """A typical claim with a time line and a water test fills two pages of paper."""
    shown = visit.open(f"claims/{file_name(sample.claim_number(3))}")
    assert _sheets(shown) == 2
    # The letter, where it is open, stands on a sheet of its own.
    shown.keyboard.press("l")
    assert _sheets(shown) == 3
    shown.locator(".letter-block").evaluate("block => { block.open = false; }")
    assert _sheets(shown) == 2


def _sheets(page) -> int:
    """Sides of paper: one dictionary a page (ISO 32000-1, 7.7.3.3: /Type /Page)."""
    pdf = page.pdf(prefer_css_page_size=True)
    return len([part for part in pdf.split(b"/Type /Page")[1:] if part[:1] != b"s"])
