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
    """Picking a profile changes sentence, table and chart; what is not cut by it says so."""
    page = visit.open("field.html")
    before = _says(page, "repeats")
    page.select_option("#pick", "profile=chloramine")
    _drawn(page)
    assert _says(page, "repeats") != before
    page.locator("[data-figure=rates] details summary").click()
    assert page.locator("[data-figure=rates] tbody td:first-child").all_inner_texts() == [
        "chloramine"
    ]
    note = page.locator("[data-figure=warnings] .elsewhere")
    assert "is not cut by chloramine" in note.inner_text()
    assert page.evaluate("location.hash") == "#pick=profile%3Dchloramine"
    assert visit.faults == []


def test_a_tile_picks_its_region(visit) -> None:
    """A click on a tile picks its region for the whole page, and a second click lets go."""
    page = visit.open("field.html")
    tile = page.locator("[data-part=crude_map] text", has_text="NM").first
    tile.click()
    page.wait_for_function("document.getElementById('pick').value === 'region=US-NM'")
    page.wait_for_function(
        "document.querySelector('[data-figure=regions] .says').textContent.startsWith('New Mexico')"
    )


def test_a_shared_link_restores_pick_and_choice(visit) -> None:
    """The address holds the pick and each section's choice."""
    page = visit.open("field.html#pick=family%3DLinn&rates=family&regions=any")
    assert page.locator("#pick").input_value() == "family=Linn"
    assert page.locator("[name=choice-regions]:checked").input_value() == "any"
    assert _says(page, "rates").startswith("Linn units fail most")


def test_a_choice_changes_its_own_section(visit) -> None:
    """Rates by family show families, and the address says so."""
    page = visit.open("field.html")
    page.check("[name=choice-rates][value=family]")
    page.wait_for_function(
        "document.querySelector('[data-figure=rates] .says').textContent.includes('units fail')"
    )
    assert _says(page, "rates").startswith("Linn units fail most")
    assert page.evaluate("location.hash") == "#rates=family"


@pytest.mark.parametrize("kind", ["svg", "png", "csv"])
def test_each_chart_downloads(visit, kind) -> None:
    """A chart saves as SVG with real colors, as PNG at twice the size, and as CSV."""
    page = visit.open("field.html")
    with page.expect_download() as started:
        page.click(f"[data-figure=rates] [data-save={kind}]")
    assert started.value.suggested_filename == f"rates-rates.{kind}"
    content = started.value.path().read_bytes()
    if kind == "svg":
        assert content.startswith(b"<svg")
        assert b"var(--" not in content
        assert b"#5968b5" in content
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
    assert visit.faults == []
