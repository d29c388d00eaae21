"""The field page linked by one pick, its choices, its address and its downloads."""

from __future__ import annotations

import csv
import io
import struct

import pytest


def _says(page, figure: str) -> str:
    return page.locator(f"[data-figure={figure}] .says").inner_text()


def _drawn(page) -> None:
    """Waits for the redrawing that a change sets off."""
    page.wait_for_selector("html[data-drawn=yes]")


def test_a_pick_fills_all_figures(visit) -> None:
    """Picking a profile changes table and chart, and says nothing that no figure says."""
    page = visit.open("field.html")
    assert page.locator("[data-figure=treatment-ratios] .says").is_visible()
    page.select_option("#pick", "profile=chloramine")
    _drawn(page)
    assert not page.locator("[data-figure=treatment-ratios] .says").is_visible()
    page.select_option("[name=choice-rates]", "profile")
    _drawn(page)
    page.locator("[data-figure=rates] .rows summary").click()
    assert page.locator("[data-figure=rates] tbody td:first-child").all_inner_texts() == [
        "chloramine"
    ]
    note = page.locator("[data-figure=warnings] .elsewhere")
    assert "is not cut by chloramine" in note.inner_text()
    assert "pick=profile%3Dchloramine" in page.evaluate("location.hash")
    assert visit.faults == []


def test_a_tile_and_a_count_open_the_failures_behind_them(visit) -> None:
    """A click on a tile lists its region's failures; so does the count in its row.

    Version 2 of the contract: a tile is a link to its failures, no longer a pick.
    """
    page = visit.open("field.html")
    page.locator("[data-part=adjusted_map] text", has_text="NM").first.click()
    page.wait_for_url("**/failures.html#region=US-NM&event=water")
    assert page.locator("#selected").inner_text() == "6 failures: region US-NM, event water."
    assert page.locator("#failures tbody tr").count() == 6
    page.go_back()
    page.wait_for_selector("html[data-drawn=yes]")
    page.locator("[data-figure=regions] .rows summary").click()
    link = page.locator("[data-figure=regions] tbody tr", has_text="New Mexico").locator("a")
    assert link.get_attribute("href") == "failures.html#region=US-NM&event=water"
    assert visit.faults == []


def test_a_range_of_a_limit_is_told_in_words(visit) -> None:
    """Which range of which limit, and that no system guarded; an unknown column lists nothing."""
    dose = "dose=hardness_mg_l_caco3%2F60%3A5"
    page = visit.open(f"failures.html#family=Linn&{dose}%3Aunprotected")
    assert page.locator("#selected").inner_text() == (
        "6 failures: family Linn, hardness mg l caco3 in range 5 of 10 about its limit of 60, on "
        "unprotected days."
    )
    page.goto(f"{visit.site.as_uri()}/failures.html#{dose}")
    page.reload()
    assert page.locator("#failures tbody tr").count() == 6
    page.goto(f"{visit.site.as_uri()}/failures.html#nonsense=1")
    page.reload()
    assert "There is no column nonsense: nothing is listed." in page.inner_text("#selected")
    assert page.locator("#failures tbody tr").count() == 0


def test_a_folded_figure_is_drawn_when_it_is_opened(visit) -> None:
    """Ten figures are drawn at once; the others when they are asked for."""
    page = visit.open("field.html")
    drawn = page.locator(".figure:has(.plot svg)").count()
    assert 8 <= drawn <= 14
    more = page.locator("[data-figure=cohorts]")
    assert more.locator(".plot svg").count() == 0
    more.locator("> summary").click()
    more.locator(".plot svg").wait_for()
    assert visit.faults == []


def test_a_shared_link_restores_pick_and_choice(visit) -> None:
    """The address holds the pick and each section's choice."""
    page = visit.open("field.html#pick=family%3DLinn&rates=profile&regions=any")
    assert page.locator("#pick").input_value() == "family=Linn"
    assert page.locator("[name=choice-regions]:checked").input_value() == "any"
    assert page.locator("[name=choice-rates]").input_value() == "profile"


def test_a_choice_changes_its_own_section(visit) -> None:
    """Rates by need show needs, and the address says so."""
    page = visit.open("field.html")
    assert _says(page, "rates") == "No family stands out from the others."
    page.select_option("[name=choice-rates]", "need")
    page.wait_for_function(
        "document.querySelector('[data-figure=rates] .says').textContent.includes('By need')"
    )
    assert _says(page, "rates") == "By need: scale is higher."
    assert page.evaluate("location.hash") == "#rates=need"


@pytest.mark.parametrize("kind", ["svg", "png", "csv"])
def test_each_chart_downloads(visit, kind) -> None:
    """As SVG with real colors, title, sentence, source and day; as PNG twice the size; as CSV."""
    page = visit.open("field.html#rates=profile")
    with page.expect_download() as started:
        page.click(f"[data-figure=rates] [data-save={kind}]")
    assert started.value.suggested_filename == f"rates-rates.{kind}"
    content = started.value.path().read_bytes()
    if kind == "svg":
        assert content.startswith(b"<svg")
        assert b"var(--" not in content
        assert b"#5968b5" in content
        text = content.decode()
        assert "Failures per 100 unit-years</text>" in text
        assert "Source: Tarnfell warranty ledger, as of 2026-03-31</text>" in text
    elif kind == "png":
        assert content.startswith(b"\x89PNG")
        # The header chunk (PNG specification, 11.2.2) begins with width and height.
        width, height = struct.unpack(">II", content[16:24])
        assert width > 1200
        assert height > 100
    else:
        rows = list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))
        assert [row["name"] for row in rows] == ["within limits", "chloramine", "scale-forming"]
        assert rows[0]["value"] == "18"
        assert "to" not in rows[0]
    assert visit.faults == []
