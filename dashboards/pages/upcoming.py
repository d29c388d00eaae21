"""The page of what is coming up: who is about to lose cover and why, with the sentence to send."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import polars as pl

from dashboards import formats
from dashboards.data import PageData
from schemas import codes

# What is at stake, and behind a colon or semicolon what it means for this unit.
_STAKE = re.compile(r"([^:;]*)(?:[:;]\s*(.*))?", re.DOTALL)
MOST_ROWS = 300
SOON_DAYS = 14
# What to say to the site, and what to do about it; a day, a serial and what is at stake go in.
SENTENCES = {
    "start-up request due": "Ask for the start-up of unit {serial} by {day}, or {stake} is lost.",
    "start-up outstanding": (
        "Have the start-up of unit {serial} completed and its report sent by {day}, or {stake} is "
        "lost."
    ),
    "test outstanding": (
        "Send a complete test of the supply water of unit {serial} by {day}, or {stake} is lost."
    ),
    "treatment due": (
        "Have the treatment that the water of unit {serial} needs bought new and installed by "
        "{day}, or {stake} is lost."
    ),
    "cartridge due": (
        "Have the cartridge of unit {serial} changed and the change reported by {day}, or {stake} "
        "is lost."
    ),
    "deliming due": (
        "Have unit {serial} delimed and the deliming reported by {day}, or {stake} is lost."
    ),
}
LATE_SENTENCES = {
    "start-up request due": (
        "The start-up of unit {serial} was to be asked for by {day}. If it was, send the report; "
        "until then {stake} does not count."
    ),
    "start-up outstanding": (
        "The start-up of unit {serial} was to be completed by {day}. If it was, send the report; "
        "until then {stake} does not count."
    ),
    "test outstanding": (
        "A complete test of the supply water of unit {serial} was due by {day}. If one was made, "
        "send it; until then {stake} is open."
    ),
    "treatment due": (
        "Treatment for the water of unit {serial} was due by {day}. If it was bought new and "
        "installed, send the proof; until then {stake} has lapsed."
    ),
    "cartridge due": (
        "The cartridge of unit {serial} was to be changed by {day}. If it was, send the report; "
        "until it is, {stake} has lapsed."
    ),
    "deliming due": (
        "Unit {serial} was to be delimed by {day}. If it was, send the report; until it is, "
        "{stake} has lapsed."
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
        ahead = rows.filter(pl.col("days_left") >= 0)
        overdue = rows.filter(pl.col("days_left") < 0).reverse()
        matters.append(
            {
                "key": matter.replace(" ", "-"),
                "title": matter.capitalize(),
                "count": formats.whole(rows.height),
                "says": EXPLANATIONS[matter],
                "ahead": _table(ahead, names),
                "overdue": _table(overdue, names),
                "overdue_says": f"{formats.whole(overdue.height)} overdue, the latest first",
            }
        )
    return {"title": "Upcoming", "summary": _summary(upcoming), "matters": matters}


def _table(rows: pl.DataFrame, names: Mapping[str, str]) -> dict[str, Any]:
    shown = rows.head(MOST_ROWS)
    rest = rows.height - shown.height
    return {
        "rows": [_row(row, names) for row in shown.iter_rows(named=True)],
        "left_out": f"{rest:,} more not shown; all are in the file data/upcoming.csv."
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


def _site_names(data: PageData) -> dict[str, str]:
    named = data.decisions.select("site", "site_name").drop_nulls().unique("site")
    return dict(named.iter_rows())


def _row(row: Mapping[str, Any], names: Mapping[str, str]) -> list[str]:
    stake, detail = _STAKE.fullmatch(row["at_stake"] or "cover").groups()
    sentences = SENTENCES if row["days_left"] >= 0 else LATE_SENTENCES
    sentence = sentences[row["matter"]].format(
        serial=row["serial"], day=formats.long_day(row["due_on"]), stake=stake
    )
    if detail:
        sentence += f" {detail[0].upper()}{detail[1:]}."
    site = ", ".join(filter(None, (names.get(row["site"] or ""), row["site"])))
    return [
        formats.day(row["due_on"]),
        formats.whole(row["days_left"]),
        row["serial"],
        site,
        row["region"] or "",
        stake,
        sentence,
    ]
