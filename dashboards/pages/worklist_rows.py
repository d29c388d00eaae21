"""The worklist's rows as the morning's page draws them: by column, for its script and without one.

Belongs here: what each row shows, and what the groups are called. Does not belong here: the order
and the reasons (`pipelines.worklist`), the other parts of the page (`morning`).
"""

from __future__ import annotations

from typing import Any

import polars as pl

from dashboards import formats
from dashboards.data import PageData
from dashboards.pages.originals import original_said
from schemas.polars_types import sum_of_money
from schemas.worklist import GROUPS

SETTLED = "settled"
GROUP_WORDS = {**GROUPS, SETTLED: "Settled"}
DUE = {"overdue": "Overdue", "ahead": "Still ahead"}
_COPIED = (
    "claim",
    "call",
    "serial",
    "family",
    "region",
    "agency",
    "site",
    "site_name",
    "documents",
    "why",
    "open",
    "held",
    "days_left",
    "age_days",
)
_LEAD = ("lead_reason", "ruling", "ruling_outdated", "verdict")


def rows_data(ordered: pl.DataFrame, data: PageData) -> dict[str, Any]:
    """What the script shows of each claim, by column."""
    claimed = ordered["at_stake"].to_list()
    pages = set(ordered["claim"])
    originals = ordered["original"].to_list()
    steps = first_steps(data)
    agencies = dict(data.agencies.select("agency", "name").iter_rows())
    columns = {name: ordered[name].to_list() for name in _COPIED}
    return columns | {
        "verdict": ordered["standing"].to_list(),
        "reason": ordered["reason"].fill_null("").to_list(),
        "group": ordered["group"].fill_null(SETTLED).to_list(),
        "lead": [_lead(*row) for row in ordered.select(_LEAD).iter_rows()],
        "file": [formats.file_name(claim) for claim in columns["claim"]],
        "agency_name": [agencies.get(agency) or "" for agency in columns["agency"]],
        "original": [original_said(one) or "" for one in originals],
        "original_file": [
            formats.file_name(one["claim"]) if one and one["claim"] in pages else ""
            for one in originals
        ],
        "step": [steps.get(claim, "") for claim in columns["claim"]],
        "assigned": ordered["assigned_to"].fill_null("").to_list(),
        "hold_until": ordered["hold_until"].cast(pl.String).fill_null("").to_list(),
        "at_stake": [float(amount) for amount in claimed],
        "money": [formats.money(amount) for amount in claimed],
        "age": ["" if age is None else f"{formats.days(age)} old" for age in columns["age_days"]],
        "days": [days_left(left) for left in columns["days_left"]],
        "due": due(ordered).to_list(),
        "due_on": ordered["documents_due_on"].cast(pl.String).to_list(),
        "words": formats.VERDICTS,
        "groups": GROUP_WORDS,
        "currency": data.currency,
    }


def first_steps(data: PageData) -> dict[str, str]:
    """The first step of each claim, in words."""
    first = data.next_steps.group_by("claim", maintain_order=True).first()
    return dict(first.select("claim", "label").iter_rows())


def without_script(ordered: pl.DataFrame, data: PageData) -> list[dict[str, Any]]:
    """The open claims by group, for readers without script: heading, and a line a claim."""
    is_open = ordered.filter("open", ~pl.col("held"))
    steps = first_steps(data)
    groups = []
    for key, words in GROUPS.items():
        rows = is_open.filter(pl.col("group") == key)
        if rows.is_empty():
            continue
        groups.append(
            {
                "head": group_head(words, rows, data.currency),
                "rows": [
                    {
                        "claim": row["claim"],
                        "href": f"claims/{formats.file_name(row['claim'])}",
                        "standing": row["standing"],
                        "word": formats.VERDICTS[row["standing"]],
                        "text": _line(row),
                        "step": steps.get(row["claim"], ""),
                    }
                    for row in rows.iter_rows(named=True)
                ],
            }
        )
    return groups


def group_head(words: str, rows: pl.DataFrame, currency: str) -> str:
    """A group's name with how many claims it has and what they come to."""
    stake = formats.money(sum_of_money(rows["at_stake"]), currency)
    return f"{words}: {formats.counted(rows.height, 'claim')}, {stake} at stake"


def _line(row: dict[str, Any]) -> str:
    parts = [row["reason"] or row["why"], original_said(row["original"]) or ""]
    place = ", ".join(filter(None, (row["serial"], row["site_name"] or row["site"], row["agency"])))
    age = "" if row["age_days"] is None else f"{formats.days(row['age_days'])} old"
    facts = ", ".join(filter(None, (place, age, days_left(row["days_left"]))))
    return " ".join(filter(None, (*parts, f"{facts}." if facts else "")))


def days_left(left: int | None) -> str:
    """How long a claim may still be filed."""
    if left is None:
        return ""
    return "last day to file" if left == 0 else f"{formats.days(left)} to file"


def due(ordered: pl.DataFrame) -> pl.Series:
    """Where the day for the missing documents stands: overdue, ahead, or null without one."""
    ahead = pl.when(pl.col("documents_due_on").is_not_null()).then(pl.lit("ahead"))
    return ordered.select(pl.when("overdue").then(pl.lit("overdue")).otherwise(ahead)).to_series()


def _lead(lead: str | None, ruling: str | None, outdated: bool, verdict: str) -> str:
    if outdated:
        return f"records now say {formats.VERDICTS[verdict].lower()}"
    if ruling:
        return "by a ruling"
    return formats.CONDITIONS[lead].lower() + "?" if lead else ""
