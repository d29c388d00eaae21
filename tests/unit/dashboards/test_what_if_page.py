"""The page of other terms: its sentences, its sums, and nothing that came in with the data."""

import datetime as dt
from decimal import Decimal

import polars as pl
import pytest

from dashboards.data import PageData
from dashboards.pages.what_if import OtherTerms
from dashboards.site import what_if_document
from schemas.columns import CENTS

SCRIPT = "<script>alert(1)</script>"
SIDES = ("before", "after")


def cents(*amounts):
    """Exact amounts as a column."""
    return pl.Series([Decimal(amount) for amount in amounts], dtype=CENTS)


def told(moved=True):
    """Three claims, of which one moves from not covered to covered: 100.00 more."""
    claims = pl.DataFrame(
        {
            "claim": ["K1"],
            "verdict_before": ["not_covered"],
            "verdict_after": ["covered"],
            "through": ["agency_authorized"],
            "reason_after": [f"NORTH was authorized {SCRIPT}."],
            "payable_before": cents("0"),
            "payable_after": cents("100"),
        }
    )
    moves = claims.drop("claim", "reason_after").with_columns(claims=pl.lit(1))
    groups = pl.DataFrame(
        {
            "by": ["region"] * 3,
            "group": [f"US-{SCRIPT}", "US-AZ", "US-NM"],
            "claims": [1, 1, 1],
            "moved": [1, 0, 0],
            "payable_before": cents("0", "20", "30"),
            "payable_after": cents("100", "20", "30"),
            "change": cents("100", "0", "0"),
        }
    )
    lines = pl.DataFrame(
        {"line": ["parts", "labor", "travel"], "claimed": cents("300", "0", "0")}
        | {f"{kind}_before": cents("50", "0", "0") for kind in ("payable", "standing")}
        | {f"{kind}_after": cents("150", "0", "0") for kind in ("payable", "standing")}
    )
    forecast = pl.DataFrame(
        {
            "family": ["all", "Beck"],
            "month": [dt.date(2026, 1, 1)] * 2,
            "failures_before": [2.0, 2.0],
            "failures_after": [2.5, 2.5],
            "cost_before": [1000.0, 1000.0],
            "cost_after": [1250.0, 1250.0],
        }
    )
    some = claims if moved else claims.clear()
    verdicts = pl.DataFrame(
        {"verdict": ["covered", "not_covered"], "before": [2, 1], "after": [3, 0]}
    )
    return OtherTerms(
        "draft.toml stands in the place of every edition.", "The method.", 3, some,
        moves if moved else moves.clear(), verdicts, lines, groups if moved else groups.clear(),
        forecast,
    )  # fmt: skip


@pytest.fixture
def page():
    """Writes the page."""

    def write(hide=(), **given):
        shell = PageData("Tarnfell", dt.date(2026, 1, 1), "UTC", "USD", hide)
        return what_if_document(shell, told(**given))

    return write


def test_the_answer_and_the_sums_are_told(page):
    """One sentence first; groups that do not change stand in one line."""
    text = page()
    assert (
        "1 of 3 claims would move: 150.00 USD payable in place of 50.00 USD, a change of "
        "+100.00 (+200.0%)." in text
    )
    assert "With the rulings that stand, 150.00 USD would be to be paid in place of 50.00" in text
    assert '<td>no change</td><td class="number">2</td>' in text
    assert "expected to cost 1,000 USD as it is and 1,250 USD under the other terms" in text
    assert text.count("data:image/svg+xml;base64,") == 2


def test_nothing_that_came_in_with_the_data_runs(page):
    """Names and reasons are escaped, and the page takes no script at all."""
    text = page()
    assert SCRIPT not in text
    assert "<script" not in text
    assert "US-&lt;script&gt;" in text


def test_reasons_that_name_agencies_stay_off_a_page_that_hides_them(page):
    """Where the settings hide agencies."""
    assert "NORTH was authorized" in page()
    assert "NORTH" not in page(hide=("agency",))


def test_terms_that_move_nothing_say_so(page):
    """No chart of groups, no table of claims."""
    text = page(moved=False)
    assert "None of 3 claims moves; the money stays as it is." in text
    assert "Claims that move" not in text
