"""The page of what is coming up: who is about to lose cover and why, with the sentence to send."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from dashboards import formats
from dashboards.data import PageData
from schemas import codes

MOST_ROWS = 300
SOON_DAYS = 14
EXPLANATIONS = {
    "start-up request due": "Bought, and no start-up asked for yet.",
    "start-up outstanding": "Asked for in time, not yet completed; the base cover is running out.",
    "test outstanding": "No complete test of the supply water is on file.",
    "treatment due": "The water needs treatment that is not installed; the grace is running out.",
    "cartridge due": "The cartridges on file last until then, grace included.",
    "installation fault": "The latest start-up found a reading unsound that is not yet mended.",
    "deliming due": "The last deliming on file reaches until then, grace included.",
}


def content(data: PageData) -> dict[str, Any]:
    """What the template needs: what falls due soon by its day, then each matter."""
    upcoming = data.upcoming.sort("due_on", "serial", "matter")
    soon = upcoming.filter(pl.col("days_left").is_between(0, SOON_DAYS))
    matters = []
    for matter in codes.MATTERS:
        rows = upcoming.filter(pl.col("matter") == matter)
        if rows.is_empty():
            continue
        ahead = rows.filter(pl.col("days_left") >= 0)
        overdue = rows.filter(pl.col("days_left") < 0).reverse()
        matters.append(
            {
                "key": matter.replace(" ", "-"),
                "title": matter.capitalize(),
                "count": formats.whole(rows.height),
                "says": EXPLANATIONS[matter],
                "ahead": _table(ahead),
                "ahead_says": f"{formats.whole(ahead.height)} ahead, the first due first",
                "overdue": _table(overdue),
                "overdue_says": f"{formats.whole(overdue.height)} overdue, the latest first",
            }
        )
    return {
        "title": "Upcoming",
        "summary": _summary(upcoming),
        "soon": _table(soon),
        "soon_title": f"The next {SOON_DAYS} days",
        "matters": matters,
    }


def _table(rows: pl.DataFrame) -> dict[str, Any]:
    shown = rows.head(MOST_ROWS)
    rest = rows.height - shown.height
    return {
        "rows": [_row(row) for row in shown.iter_rows(named=True)],
        "left_out": f"{rest:,} more not shown; all are in the table upcoming under data/."
        if rest
        else "",
    }


def _summary(upcoming: pl.DataFrame) -> str:
    if upcoming.is_empty():
        return "Nothing is due."
    ahead = upcoming.filter(pl.col("days_left") >= 0)
    overdue = upcoming.height - ahead.height
    said = []
    if ahead.height:
        first = ahead.row(0, named=True)
        soon = ahead.filter(pl.col("days_left") <= SOON_DAYS).height
        said.append(
            f"{formats.counted(ahead['serial'].n_unique(), 'unit')} will lose cover unless someone "
            f"acts; {soon:,} of {formats.counted(ahead.height, 'matter')} are due within "
            f"{SOON_DAYS} days, the first on {formats.long_day(first['due_on'])}."
        )
    if overdue:
        verb = "is" if overdue == 1 else "are"
        said.append(f"{formats.counted(overdue, 'matter')} {verb} overdue: that cover has lapsed.")
    return " ".join(said)


def _row(row: Mapping[str, Any]) -> list[str]:
    return [
        formats.day(row["due_on"]),
        formats.whole(row["days_left"]),
        row["matter"],
        row["serial"],
        ", ".join(filter(None, (row["site_name"], row["site"]))),
        row["region"] or "",
        row["sentence"],
    ]
