"""Handouts: one page a figure, with sentence, drawing, rows, marks and the command."""

from __future__ import annotations

import datetime as dt
import math
import re

import polars as pl
import pytest

from dashboards.handout import MOST_ROWS, handout, without_alls
from dashboards.pages import handouts
from dashboards.pages.findings import FINDINGS
from dashboards.plain_drawing import drawing
from schemas.field import FIELD_TABLES

RATES = pl.DataFrame(
    {
        "family": ["Beck", "Linn", "Skerry"],
        "failures": [10, 1234, 2],
        "rate_per_100": [10.0, 40.0, 99.0],
        "low": [5.0, 30.0, 1.0],
        "high": [20.0, 50.0, 900.0],
        "thin": [False, False, True],
    }
)


def _page(table: pl.DataFrame, **changes) -> str:
    given = {
        "sentence": "Linn is higher.", "selected": ["age=0-6"], "since": "2025-01-01",
        "until": None, "as_of": dt.date(2026, 9, 30), "failures": 1246,
        "command": "limeledger field --by family --handout x.html",
    }  # fmt: skip
    return handout("rates", table, **(given | changes))


def test_a_page_tells_all_that_a_finding_needs() -> None:
    """Title, sentence, what was selected, day, failures, marks and command."""
    text = _page(RATES)
    assert "<h1>Rates</h1><p>Linn is higher.</p>" in text
    assert "Selected: age=0-6; from 2025-01-01. As of 2026-09-30; 1,246 failures." in text
    assert "Rows in gray are thin" in text
    assert "<code>limeledger field --by family --handout x.html</code>" in text
    assert "One row is the failure rate of one slice." in text
    assert "default-src 'none'; style-src 'unsafe-inline'" in text
    assert '<tr class="thin"><td>Skerry</td>' in text
    assert '<td class="n">1,234</td><td class="n">40.0</td>' in text
    assert _page(RATES, sentence=None).count("<p>3 rows of rates.</p>") == 1
    assert "The first" not in text
    long = pl.concat([RATES] * 11)
    assert f"The first {MOST_ROWS} of 33 rows." in _page(long)
    assert _page(long).count("<tr") == MOST_ROWS + 1


def test_dots_lie_where_their_values_are() -> None:
    """On an axis from 0 to the largest limit of what is not thin; thin rows are not drawn."""
    svg = str(drawing(RATES, 30))
    dots = [float(x) for x in re.findall(r'<circle cx="([0-9.]+)"', svg)]
    assert dots == pytest.approx([200 + 410 * 10 / 50, 200 + 410 * 40 / 50], abs=0.1)
    assert re.findall(r' cy="([0-9]+)"', svg) == ["14", "30"]
    assert re.findall(r'y1="([0-9]+)" y2="([0-9]+)"', svg) == [("14", "14"), ("30", "30")]
    (low, high), _ = re.findall(r'<line x1="([0-9.]+)" x2="([0-9.]+)"', svg)
    assert (float(low), float(high)) == pytest.approx((241.0, 364.0), abs=0.1)
    assert ">Beck</text>" in svg
    assert "Skerry" not in svg
    assert "50.0 failures per 100 unit-years" in svg


def test_ratios_are_drawn_on_a_log_scale_about_1() -> None:
    """Twice and half as far from 1 to either side."""
    table = pl.DataFrame(
        {"name": ["a", "b"], "ratio": [2.0, 0.5], "low": [1.0, 0.25], "high": [4.0, 1.0]}
    )
    svg = str(drawing(table, 30))
    up, down = (float(x) for x in re.findall(r'<circle cx="([0-9.]+)"', svg))
    (one,) = re.findall(r'<line x1="([0-9.]+)" x2="\1" y1="4"', svg)
    assert up - float(one) == pytest.approx(float(one) - down, abs=0.2)
    span = 410 * math.log(2) / math.log(4.4 / (0.25 / 1.1))
    assert up - float(one) == pytest.approx(span, abs=0.2)
    assert "ratio (log scale)" in svg


def test_months_are_drawn_as_curves() -> None:
    """A line and a band a group, from the left edge to the last month."""
    rows = [
        {"family": family, "months": months, "survival": 1 - worse * months / 100,
         "low": 1 - worse * months / 80, "high": 1.0, "thin": False}
        for family, worse in (("Beck", 1), ("Linn", 2))
        for months in (0, 6, 12, 24)
    ]  # fmt: skip
    svg = str(drawing(pl.DataFrame(rows), 30))
    lines = re.findall(r'<polyline points="([^"]+)"', svg)
    assert len(lines) == 2
    first = [tuple(map(float, point.split(","))) for point in lines[1].split()]
    assert first[0] == pytest.approx((40, 10), abs=0.1)
    assert first[-1] == pytest.approx((480, 10 + 220 * 0.48), abs=0.1)
    assert first[2][0] == pytest.approx(260, abs=0.1)
    # Each line has its name at its own end.
    ends = re.findall(r'<text x="484.0" y="([0-9.]+)" font-size="9.5">(Beck|Linn)<', svg)
    assert [(float(y), name) for y, name in ends] == [
        (pytest.approx(13 + 220 * 0.24, abs=0.1), "Beck"),
        (pytest.approx(13 + 220 * 0.48, abs=0.1), "Linn"),
    ]


def test_nothing_is_drawn_of_rows_without_an_estimate() -> None:
    """A table without an estimate with limits has its rows alone."""
    assert str(drawing(pl.DataFrame({"a": [1]}), 30)) == ""
    nothing = RATES.with_columns(rate_per_100=pl.lit(None, pl.Float64))
    assert str(drawing(nothing, 30)) == ""


def test_every_figure_with_rows_has_its_handout(sample) -> None:
    """One file a figure, by the table's name, with the finding's own rows and sentence."""
    data = sample.page_data(2)
    pages = dict(handouts.pages(data))
    filled = {name for name, frame in data.figures.items() if frame.height}
    assert {f"{name}.html" for name in filled - {"field_failures", "field_sentences"}} == set(pages)
    assert "No family stands out from the others." in pages["rates.html"]
    assert "Beck" in pages["rates.html"]
    assert "scale-forming" not in pages["rates.html"]
    assert "<p>No region stands out from the others.</p>" in pages["regions.html"]
    assert "limeledger field --figure screen --handout screen.html" in pages["screen.html"]
    assert "6 failures" in pages["regions.html"]
    hidden = sample.page_data(2, hide=("agency",))
    assert "agency_figures.html" not in dict(handouts.pages(hidden))


def test_findings_are_of_figures_and_ranked_as_told() -> None:
    """Each names a table; the order puts thin rows last and the surest first."""
    assert set(FINDINGS) <= set(FIELD_TABLES)
    table = pl.DataFrame(
        {
            "by": ["family"] * 3 + ["region"],
            "family": ["Beck", "Linn", "Skerry", "all"],
            "rate_per_100": [10.0, 40.0, 99.0, 1.0],
            "thin": [False, False, True, False],
        }
    )
    rows = handouts.rows_of(table, FINDINGS["rates"])
    assert rows["family"].to_list() == ["Linn", "Beck", "Skerry"]


def test_dimensions_that_are_not_sliced_are_left_out() -> None:
    """`all` in every row tells nothing; marks and notes stand last."""
    table = pl.DataFrame(
        {"by": ["family"], "family": ["Linn"], "region": ["all"], "thin": [True], "note": ["x"],
         "rate_per_100": [1.0]}
    )  # fmt: skip
    assert without_alls(table).columns == ["family", "rate_per_100", "thin", "note"]
    assert without_alls(table.with_columns(note=pl.lit(None))).columns == [
        "family", "rate_per_100", "thin",
    ]  # fmt: skip
