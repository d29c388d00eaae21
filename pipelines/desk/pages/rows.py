"""Rows: those set aside, the correction of one, the records and corrections that people made.

Belongs here: these pages and their forms. Does not belong here: what may be entered or corrected
(`pipelines.actions`).
"""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from dashboards import formats
from dashboards.desk_words import local
from pipelines.actions.corrections import CORRECTED
from pipelines.actions.records import ENTERED
from pipelines.desk.controls import Choices, form_of
from pipelines.desk.operations import BY_NAME
from pipelines.desk.people import visitor
from pipelines.desk.performing import caller_of
from pipelines.desk.problems import Problem
from pipelines.desk.rendering import claim_path, page, unit_path
from pipelines.desk.site import DeskSite
from pipelines.desk.views.claims import claim_now
from pipelines.desk.views.rows import FEW, corrections, entered_records, row_at, set_aside_rows
from pipelines.queries.decided_since import decided_since
from schemas.columns import fields
from schemas.feeds import FEED_TABLES


def routes(site: DeskSite) -> list[Route]:
    """The paths of rows."""

    def aside(request: Request) -> Response:
        return page(request, site, "desk/set_aside.html", _set_aside(request, site))

    def made(request: Request) -> Response:
        return page(request, site, "desk/corrections.html", _corrections(request, site))

    def entering(request: Request) -> Response:
        return page(request, site, "desk/form.html", _entering(request, site))

    def correcting(request: Request) -> Response:
        return page(request, site, "desk/form.html", _correcting(request, site))

    return [
        Route("/set-aside", aside, methods=["GET"]),
        Route("/corrections", made, methods=["GET"]),
        Route("/corrections/new", correcting, methods=["GET"]),
        Route("/records", entering, methods=["GET"]),
    ]


def correct_link(feed: str, file: str, line: int, claim: str | None = None) -> str:
    """Where a row is corrected."""
    more = {"claim": claim} if claim else {}
    return f"/corrections/new?{urlencode({'feed': feed, 'file': file, 'line': line, **more})}"


def _set_aside(request: Request, site: DeskSite) -> dict[str, Any]:
    sent = request.query_params
    offset_n = int(_whole(sent.get("offset")) or 0)
    given = {
        "kind": sent.get("kind") or "",
        "feed": sent.get("feed") or "",
        "q": (sent.get("q") or "").strip(),
        "file": sent.get("file") or "",
        "line": _whole(sent.get("line")),
    }
    rows, total = set_aside_rows(site, {**given, "offset": offset_n})
    caller = caller_of(site, visitor(request), "web")
    for row in rows:
        place = {"feed": row["feed"] or "", "file": row["file"], "line": row["line"]}
        settles = {"feed": place["feed"], "settles.file": row["file"], "settles.line": row["line"]}
        is_open = row["settled_by"] is None
        able = row["feed"] in CORRECTED and is_open
        row["feed_word"] = formats.FEEDS.get(row["feed"] or "", "Of no feed")
        row["correct"] = correct_link(**place) if able and caller.may("correct") else None
        enters = row["feed"] in ENTERED and is_open and row["kind"] == "set_aside"
        enters = enters and caller.may("record")
        row["enter"] = f"/records?{urlencode(settles)}" if enters else None
    after = urlencode({**given, "offset": offset_n + FEW})
    return {
        "title": "Rows set aside or superseded",
        "kinds": [("set_aside", "Set aside"), ("superseded", "Superseded")],
        "given": given,
        "feeds": list(formats.FEEDS.items()),
        "rows": rows,
        "total": total,
        "more": f"/set-aside?{after}" if offset_n + FEW < total else None,
    }


def _whole(given: str | None) -> str:
    """A whole number as it was sent; an empty text for anything else."""
    digits = (given or "")[:9]
    return digits if digits.isascii() and digits.isdigit() else ""


def _corrections(request: Request, site: DeskSite) -> dict[str, Any]:
    zone = site.settings.zone
    caller = caller_of(site, visitor(request), "web")
    listed = []
    for row in corrections(site):
        path = f"/corrections/{row['event']}/withdrawal"
        cells = [
            f"{name} “{row['was'].get(name, '')}” → “{value}”"
            for name, value in row["values"].items()
        ]
        listed.append(_made(row, "withdraw_correction", path, cells, zone, caller))
    entered = []
    for row in entered_records(site):
        path = f"/records/{row['event']}/withdrawal"
        cells = [f"{name} {value}" for name, value in row["values"].items()]
        entered.append(_made(row, "withdraw_record", path, cells, zone, caller))
    return {"title": "Corrections and records", "corrections": listed, "records": entered}


def _made(
    row: dict[str, Any], name: str, path: str, cells: list[str], zone: Any, caller: Any
) -> dict[str, Any]:
    able = row["state"] != "withdrawn" and caller.may("withdraw")
    words = {
        "in_force": "in force",
        "confirmed": "confirmed by the source",
        "stale": "stale: the row that is used now is another one",
        "withdrawn": "withdrawn",
    }
    return row | {
        "feed_word": formats.FEEDS[row["feed"]],
        "told": cells,
        "when": local(row["at"], zone),
        "word": words[row["state"]],
        "form": form_of(BY_NAME[name], path, key=f"withdraw-{row['event']}") if able else None,
    }


def _entering(request: Request, site: DeskSite) -> dict[str, Any]:
    """The form of a record: the columns of its feed, begun with what the claim tells."""
    sent = request.query_params
    feed, claim = sent.get("feed") or "", sent.get("claim") or ""
    if feed not in ENTERED:
        return _which_feed(claim, sent.get("serial") or "")
    values = dict.fromkeys(fields(FEED_TABLES[feed]), "")
    serial = sent.get("serial") or ""
    if serial and "serial" in values:
        values["serial"] = serial
    if claim:
        decision = claim_now(site, claim, decided_since(site.desk, site.day)).decided or {}
        known = {"serial": decision.get("serial"), "site": decision.get("site"), "claim": claim}
        values |= {name: value or "" for name, value in known.items() if name in values}
    begin = {
        "feed": feed,
        "claim": claim,
        "values": values,
        "settles": {"file": sent.get("settles.file"), "line": sent.get("settles.line")},
    }
    form = form_of(BY_NAME["enter"], "/records", choices=Choices(begin_with=begin))
    says = "Days as 2026-03-31, decimal points, the units that are named beside each column."
    if sent.get("settles.file"):
        says += (
            f" This record takes the place of the row at {sent['settles.file']}, line "
            f"{sent.get('settles.line')}."
        )
    return {
        "title": f"Enter a record: {formats.FEEDS[feed]}",
        "says": says,
        "back": _back(claim, serial),
        "form": form,
    }


def _back(claim: str, serial: str) -> tuple[str, str]:
    """The page from which a record is entered."""
    if claim:
        return claim_path(claim), f"Claim {claim}"
    return (unit_path(serial), f"Unit {serial}") if serial else ("/set-aside", "Set aside")


def _which_feed(claim: str, serial: str) -> dict[str, Any]:
    about = {"claim": claim, "serial": serial}
    begun = {name: value for name, value in about.items() if value}
    more = f"&{urlencode(begun)}" if begun else ""
    return {
        "title": "Enter a record",
        "says": "What came in?",
        "back": _back(claim, serial) if begun else ("/", "Morning"),
        "form": None,
        "links": [(f"/records?feed={feed}{more}", formats.FEEDS[feed]) for feed in ENTERED],
    }


def _correcting(request: Request, site: DeskSite) -> dict[str, Any]:
    """The form of a correction: every column as it is now."""
    sent = request.query_params
    feed, file, line = sent.get("feed") or "", sent.get("file") or "", sent.get("line") or ""
    if feed not in CORRECTED or not (line.isascii() and line.isdigit()):
        raise Problem(404, "Name feed, file and line of the row.")
    row = row_at(site, feed, file, int(line[:9]))
    if row is None:
        raise Problem(
            404,
            f"No row of {formats.FEEDS[feed].lower()} with columns is at {file} line {line}; what "
            "could not be read is entered anew.",
        )
    now = row.put_into(row.typed)
    columns = {name: now.get(name, "") for name in fields(FEED_TABLES[feed])}
    begin = {
        "feed": feed,
        "file": file,
        "line": line,
        "was": columns,
        "values": columns,
    }
    claim = sent.get("claim") or ""
    reasons = " ".join(dict.fromkeys(reason for _, _, reason in row.reasons))
    return {
        "title": f"Correct a row: {formats.FEEDS[feed]}",
        "says": f"{file}, line {line}. {reasons}".strip(),
        "back": (claim_path(claim), f"Claim {claim}") if claim else ("/set-aside", "Set aside"),
        "form": form_of(
            BY_NAME["correct"], "/corrections", choices=Choices(begin_with=begin), shown=claim
        ),
    }
