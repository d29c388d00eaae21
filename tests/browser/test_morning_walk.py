"""The morning by keyboard: from the list to a claim, its letter and back; views as links."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re

import polars as pl
import pytest
from playwright.sync_api import expect

from dashboards.formats import file_name


def _claims(page) -> list[str]:
    return page.locator("tr.row .c-claim a").all_inner_texts()


def test_walk_from_the_list_to_a_letter_and_back(visit) -> None:
    """j and k walk, Enter opens, l goes to the letter, n to the next claim, u back to the view."""
    page = visit.open("index.html")
    page.select_option("[data-filter=verdict]", "needs_evidence")
    listed = _claims(page)
    page.locator("h1").click()
    for key in "jjjk":
        page.keyboard.press(key)
    focused = page.evaluate("document.activeElement.textContent")
    assert focused == listed[1]
    page.keyboard.press("Enter")
    page.wait_for_url("**/claims/*")
    assert page.locator("h1").inner_text() == f"Claim {listed[1]}"
    page.wait_for_selector("html[data-drawn=yes]")
    assert not page.locator(".letter").is_visible()
    page.keyboard.press("l")
    assert page.evaluate("document.activeElement.id") == "letter"
    letter = page.locator(".letter")
    assert letter.is_visible()
    assert "complete supply water test" in letter.inner_text()
    assert "Deliming uses acids." in letter.inner_text()
    assert page.locator("#letter").inner_text().startswith("Letter to Fennel Repair")
    page.keyboard.press("n")
    page.wait_for_url(f"**/{file_name(listed[2])}")
    page.wait_for_selector("html[data-drawn=yes]")
    page.keyboard.press("u")
    page.wait_for_url("**/index.html#verdict=needs_evidence")
    assert _claims(page) == listed
    assert visit.faults == []


def test_the_list_keeps_the_focused_row_in_sight(visit) -> None:
    """Far down the list the focused row is drawn and inside the scrolled part."""
    page = visit.open("index.html")
    page.select_option("[data-filter=scope]", "all")
    page.locator("h1").click()
    for _ in range(60):
        page.keyboard.press("j")
    # Read in one step: a list that is still scrolling may draw its rows anew between two.
    assert page.evaluate("""() => {
        const row = document.querySelector("tr.here a").getBoundingClientRect();
        const frame = document.getElementById("worklist").getBoundingClientRect();
        return frame.top < row.top && row.bottom < frame.bottom;
    }""")
    assert page.locator("tr.here .c-place").inner_text() == "60"
    assert page.locator("tr.row").count() < 40


def test_help_search_and_clear_by_keyboard(visit) -> None:
    """? opens the help, / the search, Escape leaves it, x clears the view."""
    page = visit.open("index.html")
    page.keyboard.press("?")
    assert page.locator("#help").is_visible()
    page.keyboard.press("Escape")
    # The browser closes a dialog a moment after the key; a person is slower than that.
    page.locator("#help").wait_for(state="hidden")
    page.keyboard.press("/")
    page.keyboard.type("K-00007")
    expect(page.locator("#shown")).to_contain_text(re.compile("^2 of 200 claims"))
    page.keyboard.press("Escape")
    page.keyboard.press("x")
    expect(page.locator("#shown")).to_contain_text(re.compile("^80 of 200 claims"))
    assert page.evaluate("location.hash") == ""


AS_OF = dt.date(2026, 3, 31)
FILTERS = {
    "verdict": ("needs_review", lambda row: row["standing"] == "needs_review"),
    "region": ("US-KS", lambda row: row["region"] == "US-KS"),
    "family": ("Linn", lambda row: row["family"] == "Linn"),
    "agency": ("AGENCY3", lambda row: row["agency"] == "AGENCY3"),
    "missing": ("complete supply water test", lambda row: row["missing"] is not None),
    "due": ("overdue", lambda row: row["documents_due_on"] == AS_OF - dt.timedelta(days=1)),
    "money": ("800", lambda row: 3 * row["parts_claimed"] >= 800),
}


@pytest.mark.parametrize("control", FILTERS)
def test_each_filter_narrows_the_list(visit, sample, control) -> None:
    """A filter leaves the open claims that fit, and the address tells which."""
    value, fits = FILTERS[control]
    rows = [sample.decision(place) for place in range(200)]
    assert sample.AS_OF == AS_OF
    expected = sum(fits(row) for row in rows if row["standing"].startswith("needs"))
    assert 0 < expected < 80
    page = visit.open("index.html")
    field = page.locator(f"[data-filter={control}]")
    if control == "money":
        field.fill(value)
    else:
        field.select_option(value)
    assert page.locator("#shown").inner_text().startswith(f"{expected} of 200 claims")
    assert page.evaluate("new URLSearchParams(location.hash.slice(1)).get(arguments[0])".replace(
        "arguments[0]", f"'{control}'")) == value  # fmt: skip


def test_a_shared_link_shows_the_same_view(visit, browser) -> None:
    """The address of a filtered, sorted view shows the same rows to someone else."""
    page = visit.open("index.html")
    page.select_option("[data-filter=region]", "US-NM")
    page.locator("th[data-sort=money] button").click()
    page.locator("th[data-sort=money] button").click()
    address, listed = page.url, _claims(page)
    amounts = [float(text.replace(",", "")) for text in
               page.locator("tr.row .c-money .one:first-child").all_inner_texts()]  # fmt: skip
    assert amounts == sorted(amounts, reverse=True)
    other = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
    other.goto(address)
    assert _claims(other) == listed
    assert other.locator("th[data-sort=money]").get_attribute("aria-sort") == "descending"
    assert other.locator("[data-filter=region]").input_value() == "US-NM"
    other.context.close()


def test_the_name_of_a_site_is_not_broken_within_a_word(visit) -> None:
    """At the least width of the table, for words of ten letters."""
    page = visit.open("index.html")
    page.set_viewport_size({"width": 1024, "height": 768})
    lines = page.locator("tr.row .c-site .line").first.evaluate(
        """line => {
            line.textContent = "Hazelcombe";
            const range = document.createRange();
            range.selectNodeContents(line);
            return range.getClientRects().length;
        }"""
    )
    assert lines == 1


def test_csv_of_the_view_runs_no_formula(visit, sample, tmp_path) -> None:
    """The CSV holds the rows of the view, and cells that begin like formulas are quoted away."""
    page = visit.open("index.html")
    page.fill("[data-filter=q]", "planted")
    with page.expect_download() as started:
        page.click("#save-csv")
    text = started.value.path().read_text(encoding="utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert [row["claim"] for row in rows] == [f"'{sample.FORMULA}"]
    assert rows[0]["site_name"] == sample.SCRIPT
    assert rows[0]["at_stake"] == "300.03"


def test_xlsx_of_the_view_opens(visit, sample) -> None:
    """The XLSX is a workbook that another reader opens, with the rows of the view."""
    page = visit.open("index.html")
    page.select_option("[data-filter=verdict]", "needs_evidence")
    with page.expect_download() as started:
        page.click("#save-xlsx")
    frame = pl.read_excel(started.value.path().read_bytes())
    assert frame.height == 40
    assert frame.columns[:3] == ["claim", "verdict", "lead"]
    assert f"'{sample.FORMULA}" in frame["claim"].to_list()
    assert frame["at_stake"].dtype == pl.Float64
    assert frame.filter(pl.col("claim") == "CL-00005")["at_stake"][0] == 315.03
