"""The page of a closed month: what was frozen, and what it comes to now where that differs."""

from __future__ import annotations

from decimal import Decimal

from pipelines.desk.pages.months import where_they_differ


def row(state: str, family: str, claims: int, measure: str = "paid") -> dict:
    amounts = {name: Decimal(10 * claims) for name in ("parts", "labor", "travel", "total")}
    return {"measure": measure, "state": state, "family": family, "claims": claims, **amounts}


def test_now_stands_beside_frozen_only_where_they_differ() -> None:
    """More, less, new, and nothing left of it; adjustments stay, and so does an open month."""
    rows = [
        row("frozen", "Beck", 1),
        row("now", "Beck", 1),
        row("frozen", "Force", 2),
        row("now", "Force", 3),
        row("frozen", "Linn", 4),
        row("now", "Skerry", 5),
        row("adjustment", "Beck", 6),
    ]
    told = [
        (one["family"], one["state"], one["claims"]) for one in where_they_differ(rows, "family")
    ]
    assert told == [
        ("Beck", "adjustment", 6),
        ("Beck", "frozen", 1),
        ("Force", "frozen", 2),
        ("Force", "now", 3),
        ("Linn", "frozen", 4),
        ("Linn", "now", 0),
        ("Skerry", "now", 5),
    ]
    still_open = [one for one in rows if one["state"] != "frozen"]
    assert where_they_differ(still_open, "family") == still_open
