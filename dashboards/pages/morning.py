"""The morning's page: what came in, what changed and why, and the worklist in working order."""

from __future__ import annotations

from typing import Any

import polars as pl
from markupsafe import Markup

from dashboards import formats
from dashboards.data import PageData
from dashboards.pages import paper_trail
from dashboards.worklist import OPEN
from schemas.polars_types import sum_of_money

MOST_CHANGES = 60
COLUMNS = (
    ("order", "c-place number", "#"),
    ("claim", "c-claim", "Claim and why here"),
    ("verdict", "c-verdict", "Verdict"),
    ("unit", "c-unit", "Unit"),
    ("site", "c-site", "Site"),
    ("agency", "c-agency", "Agency"),
    ("money", "c-money number", "Claimed"),
    ("missing", "c-missing", "Missing"),
)


def content(data: PageData, ordered: pl.DataFrame) -> dict[str, Any]:
    """What the template needs; `ordered` are the claims with a page, in working order."""
    changed = _changed(data)
    return {
        "title": "Morning",
        "summary": _summary(ordered, data),
        "arrivals": _arrivals(data),
        "stale": _stale(data),
        "attention": list(data.attention),
        "arrived_files": data.arrivals["file"].sort().to_list(),
        "changes": _changes(data, changed.head(MOST_CHANGES), set(ordered["claim"])),
        "changes_summary": _changes_summary(changed),
        "payments": paper_trail.panel(data, set(ordered["claim"])),
        "filters": _filters(ordered, data),
        "columns": COLUMNS,
        "worklist": Markup(formats.script_json(_rows(ordered, data))),
    }


def _summary(ordered: pl.DataFrame, data: PageData) -> str:
    open_claims = ordered.filter("open")
    if open_claims.is_empty():
        return "No claim is open."
    stake = formats.money(sum_of_money(open_claims["at_stake"]), data.currency)
    counts = {word: (open_claims["standing"] == word).sum() for word in OPEN}
    overtaken = int(open_claims["ruling_outdated"].sum())
    parts = [
        f"{counts['needs_review']:,} need a person’s decision",
        f"{counts['needs_evidence']:,} wait for evidence",
    ]
    overdue = int(open_claims["overdue"].sum())
    if overtaken:
        parts.append(f"{formats.counted(overtaken, 'ruling')} overtaken by new records")
    number = formats.counted(open_claims.height, "open claim")
    unlisted = _open_claims(data) - open_claims.height
    rest = (
        f" {formats.counted(unlisted, 'older open claim')} not listed here; "
        "`limeledger explain` tells each."
        if unlisted
        else ""
    )
    late = f" Of all these, {overdue:,} are past the day for their documents." if overdue else ""
    return f"{number} with {stake} claimed: {formats.listed(parts)}.{late}{rest}"


def _open_claims(data: PageData) -> int:
    """All open claims, also those that are too old to have a page."""
    is_open = pl.col("standing").is_in(list(OPEN)) | pl.col("ruling_outdated")
    return data.decisions.filter(is_open).height


def _arrivals(data: PageData) -> list[list[str]]:
    counts = ("rows_read", "records", "set_aside")
    by_feed = data.arrivals.group_by("feed").agg(pl.len().alias("files"), pl.col(*counts).sum())
    found = {row["feed"]: row for row in by_feed.iter_rows(named=True)}
    order = [*formats.FEEDS, *(feed for feed in found if feed not in formats.FEEDS)]
    return [
        [
            formats.FEEDS.get(feed or "", "Of no feed"),
            *(formats.whole(found[feed][name]) for name in ("files", *counts)),
        ]
        for feed in order
        if feed in found
    ]


def _stale(data: PageData) -> str:
    stale = data.feeds.filter(pl.col("stale"))["feed"].to_list()
    if not stale:
        return ""
    names = formats.listed([formats.FEEDS.get(feed, feed).lower() for feed in stale])
    return f"Nothing new for long: {names}."


def _changed(data: PageData) -> pl.DataFrame:
    """This refresh's changes: verdicts that moved, then other reasons, then new claims."""
    if data.refreshed_at is None:
        return data.history.clear()
    old, new = pl.col("from_verdict"), pl.col("to_verdict")
    return data.history.filter(pl.col("decided_at") == data.refreshed_at).sort(
        old.is_null(), old == new, "claim"
    )


def _changes_summary(changed: pl.DataFrame) -> str:
    new = changed["from_verdict"].null_count()
    moved = changed.filter(pl.col("from_verdict").ne_missing(pl.col("to_verdict"))).height - new
    other = changed.height - new - moved
    parts = {
        formats.counted(moved, "verdict moved", "verdicts moved"): moved,
        formats.counted(other, "stands for other reasons", "stand for other reasons"): other,
        formats.counted(new, "claim is new", "claims are new"): new,
    }
    said = formats.listed([part for part, count in parts.items() if count])
    more = f" The first {MOST_CHANGES} are listed." if changed.height > MOST_CHANGES else ""
    return f"{said}.{more}"


def _changes(data: PageData, changed: pl.DataFrame, with_page: set[str]) -> list[dict[str, Any]]:
    reasons = {
        (row[0], row[1]): row[2]
        for row in data.findings.join(changed.select("claim").unique(), on="claim", how="semi")
        .select("claim", "condition", "reason")
        .iter_rows()
    }
    return [_change(row, reasons, with_page) for row in changed.iter_rows(named=True)]


def _change(row: dict[str, Any], reasons: dict[Any, Any], with_page: set[str]) -> dict[str, Any]:
    words = formats.VERDICTS
    old, new = words.get(row["from_verdict"]), words.get(row["to_verdict"])
    if old is None:
        move = f"is new: {new.lower()}" if new else "is new"
    elif new is None:
        move = f"is gone (was {old.lower()})"
    elif old == new:
        move = f"stays {new.lower()}, for other reasons"
    else:
        move = f"went from {old.lower()} to {new.lower()}"
    why = [reasons[row["claim"], name] for name in row["moved"] if (row["claim"], name) in reasons]
    moved = formats.listed([formats.CONDITIONS[name].lower() for name in row["moved"][:3]])
    return {
        "claim": row["claim"],
        "href": f"claims/{formats.file_name(row['claim'])}"
        if row["claim"] in with_page
        else "index.html",
        "move": move,
        "why": " ".join(why[:2]) if old is not None and why else (moved and f"Moved: {moved}."),
    }


def _filters(ordered: pl.DataFrame, data: PageData) -> list[tuple[str, str, list[Any]]]:
    region_names = dict(data.regions.select("region", "name").iter_rows())
    agency_names = dict(data.agencies.select("agency", "name").iter_rows())

    def values(column: str) -> list[str]:
        return sorted(ordered[column].drop_nulls().unique().to_list())

    documents = ordered["documents"].explode(empty_as_null=True).drop_nulls().unique().to_list()
    found = [
        ("verdict", "Verdict", [(w, t) for w, t in formats.VERDICTS.items()]),
        ("missing", "Missing document", [(name, name) for name in sorted(documents)]),
        ("due", "Documents due", [(w, t) for w, t in _DUE.items() if w in set(_due(ordered))]),
        ("region", "Region", [(r, _named(r, region_names)) for r in values("region")]),
        ("agency", "Agency", [(a, _named(a, agency_names)) for a in values("agency")]),
        ("family", "Family", [(name, name) for name in values("family")]),
    ]
    return [(name, label, options) for name, label, options in found if options]


def _named(code: str, names: dict[str, str | None]) -> str:
    name = names.get(code)
    return f"{name} ({code})" if name and name != code else code


def _rows(ordered: pl.DataFrame, data: PageData) -> dict[str, Any]:
    columns = {name: ordered[name].to_list() for name in _COPIED}
    claimed = ordered["at_stake"].to_list()
    return columns | {
        "verdict": ordered["standing"].to_list(),
        "reason": _told(ordered, "reason", ""),
        "age_days": _told(ordered, "age_days", None),
        "group": _told(ordered, "group", None),
        "lead": [_lead(*row) for row in ordered.select(_LEAD).iter_rows()],
        "file": [formats.file_name(claim) for claim in columns["claim"]],
        "at_stake": [float(amount) for amount in claimed],
        "money": [formats.money(amount) for amount in claimed],
        "days": [_days_left(left) for left in columns["days_left"]],
        "due": _due(ordered).to_list(),
        "due_on": ordered["documents_due_on"].cast(pl.String).to_list(),
        "words": formats.VERDICTS,
        "currency": data.currency,
    }


_COPIED = (
    "claim",
    "serial",
    "family",
    "region",
    "agency",
    "site",
    "site_name",
    "documents",
    "why",
    "open",
    "days_left",
)
_DUE = {"overdue": "Overdue", "ahead": "Still ahead"}
_LEAD = ("lead_reason", "ruling", "ruling_outdated", "verdict")


def _lead(lead: str | None, ruling: str | None, outdated: bool, verdict: str) -> str:
    if outdated:
        return f"records now say {formats.VERDICTS[verdict].lower()}"
    if ruling:
        return "by a ruling"
    return formats.CONDITIONS[lead].lower() + "?" if lead else ""


def _due(ordered: pl.DataFrame) -> pl.Series:
    """Where the day for the missing documents stands: overdue, ahead, or null without one."""
    ahead = pl.when(pl.col("documents_due_on").is_not_null()).then(pl.lit("ahead"))
    return ordered.select(pl.when("overdue").then(pl.lit("overdue")).otherwise(ahead)).to_series()


def _told(ordered: pl.DataFrame, column: str, otherwise: Any) -> list[Any]:
    """A column of the working order, where the list has it."""
    if column not in ordered.columns:
        return [otherwise] * ordered.height
    return ordered[column].to_list()


def _days_left(left: int | None) -> str:
    return "" if left is None else f"{formats.days(left)} to file"
