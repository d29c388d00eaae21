"""The page of what is coming up: who is about to lose cover and why, with the sentence to send."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from dashboards import formats
from dashboards.data import PageData
from schemas import codes

MOST_ROWS = 400
# What to say to the site, and what to do about it; a day and a serial go in.
SENTENCES = {
    "start-up request due": (
        "Ask for the start-up of unit {serial} by {day}: without it, {stake} ends earlier."
    ),
    "start-up outstanding": (
        "The start-up of unit {serial} was asked for but is not reported; have it completed, and "
        "the report sent, by {day}, or {stake} ends earlier."
    ),
    "test outstanding": (
        "Send a complete water test for unit {serial} by {day}; {stake} depends on it."
    ),
    "treatment due": (
        "The water at unit {serial} needs treatment; have it bought new and installed by {day}, "
        "or {stake} lapses."
    ),
    "cartridge due": (
        "Change the cartridge at unit {serial} by {day}, or {stake} lapses; the change is to be "
        "reported as a service call."
    ),
    "deliming due": (
        "Unit {serial} is due for deliming by {day}, or {stake} lapses; deliming chemicals are for "
        "trained people, under the maker’s manual."
    ),
}
EXPLANATIONS = {
    "start-up request due": "Bought, and no start-up asked for yet.",
    "start-up outstanding": "Asked for in time, not yet completed; the base cover is running out.",
    "test outstanding": "No complete test of the supply water is on file.",
    "treatment due": "The water needs treatment that is not installed; the grace is running out.",
    "cartridge due": "The cartridges on file last until then, grace included.",
    "deliming due": "The last deliming on file reaches until then, grace included.",
}


def content(data: PageData) -> dict[str, Any]:
    """What the template needs."""
    upcoming = data.upcoming.sort("due_on", "serial", "matter")
    names = _site_names(data)
    matters = []
    for matter in codes.MATTERS:
        rows = upcoming.filter(pl.col("matter") == matter)
        if rows.is_empty():
            continue
        shown = rows.head(MOST_ROWS)
        rest = rows.height - shown.height
        matters.append(
            {
                "key": matter.replace(" ", "-"),
                "title": matter.capitalize(),
                "count": formats.whole(rows.height),
                "says": EXPLANATIONS[matter],
                "rows": [_row(row, names) for row in shown.iter_rows(named=True)],
                "left_out": f"{formats.counted(rest, 'later one')} not shown; all are in the file "
                "data/upcoming.csv."
                if rest
                else "",
            }
        )
    return {"title": "Upcoming", "summary": _summary(upcoming), "matters": matters}


def _summary(upcoming: pl.DataFrame) -> str:
    if upcoming.is_empty():
        return "Nothing is due."
    units = formats.counted(upcoming["serial"].n_unique(), "unit")
    first = upcoming.row(0, named=True)
    soon = upcoming.filter(pl.col("days_left") <= 14).height
    return (
        f"{units} may lose cover unless someone acts; {soon:,} of the matters are due within 14 "
        f"days, the first on {formats.long_day(first['due_on'])}."
    )


def _site_names(data: PageData) -> dict[str, str]:
    named = data.decisions.select("site", "site_name").drop_nulls().unique("site")
    return dict(named.iter_rows())


def _row(row: Mapping[str, Any], names: Mapping[str, str]) -> list[str]:
    sentence = SENTENCES[row["matter"]].format(
        serial=row["serial"],
        day=formats.long_day(row["due_on"]),
        stake=row["at_stake"] or "cover",
    )
    site = ", ".join(filter(None, (names.get(row["site"] or ""), row["site"])))
    return [
        formats.day(row["due_on"]),
        formats.whole(row["days_left"]),
        row["serial"],
        site,
        row["region"] or "",
        row["at_stake"] or "",
        sentence,
    ]
