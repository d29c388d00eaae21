"""Each planted story is found from the top of the Field page, in a handful of clicks.

Agencies that never level and samples that wait are told on the Start-ups page.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from sample_data.stories import STORIES
from tests.browser.conftest import Visit, browser  # noqa: F401 - a fixture

MOST_CLICKS = 4
WALKED = {
    "cold_winter", "early_batch", "repairs_come_back", "long_hours", "water_not_the_region",
    "treatment_kept_up", "chloramine_through_membrane",
}  # fmt: skip


class Walk:
    """A reader at the top of the page, whose clicks are counted."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.clicks = 0

    def click(self, selector: str, text: str | None = None) -> None:
        """Clicks the first element that there is, and waits until all charts stand."""
        self.page.locator(selector, has_text=text).first.click()
        self.clicks += 1
        if self.page.locator(".chart").count():
            self.page.wait_for_selector("html[data-drawn=yes]", timeout=60_000)

    def listed(self) -> list[dict[str, str]]:
        """The failures that the walk led to, a row a failure, by heading."""
        assert self.clicks <= MOST_CLICKS
        self.page.wait_for_url("**/failures.html#*")
        heads = self.page.locator("#failures th").all_inner_texts()
        lines = self.page.eval_on_selector_all(
            "#failures tbody tr", "rows => rows.map(r => [...r.cells].map(c => c.textContent))"
        )
        told = int(self.page.inner_text("#selected").split()[0].replace(",", ""))
        assert told == len(lines) > 0
        return [dict(zip(heads, line, strict=True)) for line in lines]


@pytest.fixture
def walk(sample, browser: Browser) -> Iterator[Walk]:  # noqa: F811 - the fixture
    """The Field page of the refreshed sample, opened at its top."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, offline=True)
    visit = Visit(context.new_page(), sample[0] / "published")
    yield Walk(visit.open("field.html"))
    assert visit.faults == []
    context.close()


def test_every_story_of_the_field_is_walked() -> None:
    """No story is left out but those of start-ups."""
    assert set(STORIES) - WALKED == {"never_levels", "samples_wait"}


def test_tanks_run_dry_in_cold_winters(walk: Walk) -> None:
    """The first thing that stands out, one click from the top."""
    walk.click("#stands-out ~ .scroll a >> nth=0")
    rows = walk.listed()
    assert {row["Cause"] for row in rows} == {STORIES["cold_winter"]["cause"]}
    months = {int(row["Failed on"][5:7]) for row in rows}
    assert months <= set(STORIES["cold_winter"]["months"])


def test_boards_of_one_quarter_fail_early(walk: Walk) -> None:
    """Its cause and quarter stand out together, one click from the top."""
    story = STORIES["early_batch"]
    walk.click(
        f"tr:has-text('{story['cause']}: entry {story['cohort']}') a",
    )
    rows = walk.listed()
    assert {row["Cause"] for row in rows} == {story["cause"]}
    assert len(rows) > 20


@pytest.mark.parametrize("name", ["repairs_come_back", "long_hours"])
def test_agencies_are_worth_a_question(walk: Walk, name: str) -> None:
    """An agency that stands out is asked about at the top, with the failures it went to."""
    agency = STORIES[name]["agency"]
    walk.click(f"#stands-out ~ .scroll tr:has-text('{agency}') a")
    assert {row["Agency"] for row in walk.listed()} == {agency}


def test_a_region_is_not_blamed_for_its_water(walk: Walk) -> None:
    """Arizona's crude ratio is high, nothing names it, and its water is seen in its failures."""
    assert "Arizona" not in walk.page.inner_text("section:has(> #stands-out)")
    walk.click("nav.contents a, .contents a", "Where units fail")
    walk.click("[data-figure=regions] .rows summary")
    row = walk.page.locator("[data-figure=regions] tbody tr", has_text="Arizona")
    cells = row.locator("td").all_inner_texts()
    crude, adjusted = float(cells[7]), float(cells[8])
    assert crude > STORIES["water_not_the_region"]["crude_ratio_above"] > adjusted
    assert cells[-1] == "no"
    walk.click("[data-figure=regions] tbody tr:has-text('Arizona') a")
    rows = walk.listed()
    assert sum("chloride" in row["Water of the day"] for row in rows) > len(rows) / 2


def test_treatment_kept_up_helps(walk: Walk) -> None:
    """The ratio is told in a sentence, and its dot opens the failures of the treated."""
    walk.click(".contents a", "Does treatment help?")
    figure = "[data-figure=treatment-ratios]"
    assert "fewer first water-caused failures" in walk.page.inner_text(f"{figure} .says")
    walk.click(f"{figure} .plot [aria-roledescription=point] >> nth=0")
    rows = walk.listed()
    assert all(row["Product"] not in ("", "none") for row in rows)


def test_chloramine_passes_a_membrane(walk: Walk) -> None:
    """Where only a membrane is installed, chloramine water breaks more than behind the carbon."""
    story = STORIES["chloramine_through_membrane"]
    walk.click(".contents a", "Which waters break which machines")
    walk.click("input[name=choice-causes][value=product]")
    walk.click("[data-figure=causes] .rows summary")
    lines = walk.page.locator("[data-figure=causes] tbody tr").all_inner_texts()
    cells = [line.split("\t") for line in lines]
    rates = {line[0]: float(line[4].split()[0]) for line in cells if line[1] == "chloramine"}
    assert all(rates[name] > 1.5 * rates[story["needed"]] for name in story["systems"])
    system = story["systems"][0]
    walk.click(
        f"[data-figure=causes] tr:has(td:text-is('{system}')):has(td:text-is('chloramine')) a"
    )
    rows = walk.listed()
    assert {row["Product"] for row in rows} == {system}
    assert story["cause"] in {row["Cause"] for row in rows}
