"""The morning's page: what came in, what changed and why, and the worklist in working order."""

from __future__ import annotations

from typing import Any

import polars as pl
from markupsafe import Markup

from dashboards import formats
from dashboards.data import PageData
from dashboards.pages import paper_trail
from dashboards.pages.worklist_rows import DUE, due, rows_data, without_script
from schemas.polars_types import sum_of_money
from schemas.worklist import GROUPS

MOST_CHANGES = 60
MOST_EVENTS = 60
COLUMNS = (
    ("order", "c-place number", "#"),
    ("claim", "c-claim", "Claim, why, next step"),
    ("verdict", "c-verdict", "Verdict"),
    ("money", "c-money number", "At stake"),
    ("missing", "c-missing", "Missing"),
    ("unit", "c-unit", "Unit"),
    ("site", "c-site", "Site"),
    ("agency", "c-agency", "Agency"),
)


def content(data: PageData, ordered: pl.DataFrame) -> dict[str, Any]:
    """What the template needs; `ordered` are the claims with a page, in working order."""
    changed = _changed(data)
    pages = set(ordered["claim"])
    return {
        "title": "Morning",
        "summary": _summary(ordered, data),
        "arrivals": _arrivals(data),
        "stale": _stale(data),
        "stale_corrections": [
            {"sentence": row["sentence"], "claim": row["claim"], "href": _page(row["claim"], pages)}
            for row in data.stale_corrections.iter_rows(named=True)
        ],
        "attention": list(data.attention),
        "arrived_files": data.arrivals["file"].sort().to_list(),
        "changes": _changes(data, changed.head(MOST_CHANGES), pages),
        "changes_summary": _changes_summary(changed),
        **_events(data, pages),
        "payments": paper_trail.panel(data, pages),
        "filters": _filters(ordered, data),
        "scopes": _scopes(ordered),
        "columns": COLUMNS,
        "groups": without_script(ordered, data),
        "rows_are_searched": not data.hide,
        "worklist": Markup(formats.script_json(rows_data(ordered, data))),
    }


def _summary(ordered: pl.DataFrame, data: PageData) -> str:
    listed = ordered.filter("open", ~pl.col("held"))
    held = ordered.filter("open", "held").height
    rest = f" {formats.counted(held, 'claim is', 'claims are')} on hold." if held else ""
    unlisted = _open_claims(data) - ordered.filter("open").height
    if unlisted > 0:
        rest += (
            f" {formats.counted(unlisted, 'older open claim')} not listed here; the search finds "
            f"{'it' if unlisted == 1 else 'them'}."
        )
    if listed.is_empty():
        return f"No claim is open.{rest}"
    stake = formats.money(sum_of_money(listed["at_stake"]), data.currency)
    counts = dict(listed.group_by("group").len().iter_rows())
    parts = [f"{words.lower()}: {counts[key]:,}" for key, words in GROUPS.items() if key in counts]
    overdue = int(listed["overdue"].sum())
    late = (
        f" {formats.counted(overdue, 'claim is', 'claims are')} past the day for "
        f"{'its' if overdue == 1 else 'their'} documents."
        if overdue
        else ""
    )
    number = formats.counted(listed.height, "open claim")
    return f"{number}, {stake} at stake. {'; '.join(parts).capitalize()}.{late}{rest}"


def _open_claims(data: PageData) -> int:
    """All open claims, also those that are too old to have a page."""
    is_open = pl.col("standing").is_in(["needs_review", "needs_evidence"])
    return data.decisions.filter(is_open | pl.col("ruling_outdated")).height


def _page(claim: str | None, pages: set[str]) -> str | None:
    return f"claims/{formats.file_name(claim)}" if claim in pages and claim else None


def _events(data: PageData, pages: set[str]) -> dict[str, Any]:
    """What people did at the desk since the last refresh."""
    events = data.desk_events
    shown = events.head(MOST_EVENTS)
    rest = events.height - shown.height
    return {
        "events": [
            {
                "claim": row["claim"],
                "href": _page(row["claim"], pages),
                "who": f"{row['at']}, {row['actor']}",
                "said": row["said"],
            }
            for row in shown.iter_rows(named=True)
        ],
        "events_summary": f"{formats.counted(events.height, 'thing was', 'things were')} done at "
        "the desk since the last refresh.",
        "more_events": f"{rest:,} more: `limeledger audit` lists all." if rest else "",
    }


def _scopes(ordered: pl.DataFrame) -> list[tuple[str, str]]:
    """Which claims the list shows: the open ones, those on hold, all."""
    held = ordered.filter("open", "held").height
    return [
        ("open", "Open claims"),
        *([("held", f"On hold ({held:,})")] if held else []),
        ("all", "All with a page"),
    ]


def _arrivals(data: PageData) -> list[list[str]]:
    counts = ("rows_read", "records", "set_aside")
    by_feed = data.arrivals.group_by("feed").agg(pl.len().alias("files"), pl.col(*counts).sum())
    of_feed = {row["feed"]: row for row in by_feed.iter_rows(named=True)}
    order = [*formats.FEEDS, *(feed for feed in of_feed if feed not in formats.FEEDS)]
    return [
        [
            formats.FEEDS.get(feed or "", "Of no feed"),
            *(formats.whole(of_feed[feed][name]) for name in ("files", *counts)),
        ]
        for feed in order
        if feed in of_feed
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
        formats.counted(other, "verdict has other reasons", "verdicts have other reasons"): other,
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
        "href": _page(row["claim"], with_page),
        "move": move,
        "why": " ".join(why[:2]) if old is not None and why else (moved and f"Moved: {moved}."),
    }


def _filters(ordered: pl.DataFrame, data: PageData) -> list[tuple[str, str, list[Any]]]:
    region_names = dict(data.regions.select("region", "name").iter_rows())
    agency_names = dict(data.agencies.select("agency", "name").iter_rows())

    def values(column: str) -> list[str]:
        return sorted(ordered[column].drop_nulls().unique().to_list())

    documents = ordered["documents"].explode(empty_as_null=True).drop_nulls().unique().to_list()
    groups = set(ordered["group"].drop_nulls())
    filters = [
        ("group", "Group", [(key, words) for key, words in GROUPS.items() if key in groups]),
        ("verdict", "Verdict", [(w, t) for w, t in formats.VERDICTS.items()]),
        ("missing", "Missing", [(name, name) for name in sorted(documents)]),
        ("due", "Due", [(w, t) for w, t in DUE.items() if w in set(due(ordered))]),
        ("region", "Region", [(r, _name_and_code(r, region_names)) for r in values("region")]),
        ("agency", "Agency", [(a, _name_and_code(a, agency_names)) for a in values("agency")]),
        ("family", "Family", [(name, name) for name in values("family")]),
        ("assigned", "Assigned to", [(name, name) for name in values("assigned_to")]),
    ]
    return [(name, label, options) for name, label, options in filters if options]


def _name_and_code(code: str, names: dict[str, str | None]) -> str:
    name = names.get(code)
    return f"{name} ({code})" if name and name != code else code
