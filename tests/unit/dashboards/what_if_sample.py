"""An invented comparison of terms, with a script planted in it.

Belongs here: what the page of other terms is made from. Does not belong here: expectations.
"""

import datetime as dt
from decimal import Decimal

import polars as pl

from dashboards.data import PageData
from dashboards.pages.what_if import OtherTerms
from dashboards.site import what_if_document
from schemas.columns import CENTS

SCRIPT = "<script>alert(1)</script>"


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


def page(hide=(), **given):
    """The page as HTML."""
    shell = PageData("Tarnfell", dt.date(2026, 1, 1), "UTC", "USD", hide)
    return what_if_document(shell, told(**given))
