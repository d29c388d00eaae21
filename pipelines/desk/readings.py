"""What programs may ask for: the GET paths below `/api/v1`.

Belongs here: one list of readings with their parameters and answers. Does not belong here:
actions (`operations`), the shape of answers (`described`).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import polars as pl
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from pipelines.actions.letters import letter, letters
from pipelines.desk import described
from pipelines.desk.described_rows import CORRECTED, SET_ASIDE
from pipelines.desk.json_text import as_json
from pipelines.desk.month_shape import month
from pipelines.desk.people import visitor
from pipelines.desk.places import places_of, route_path
from pipelines.desk.problems import Problem
from pipelines.desk.reading import Query, Reading, parameters
from pipelines.desk.search_shape import search_results
from pipelines.desk.site import DeskSite
from pipelines.desk.views.claims import claim_answer
from pipelines.desk.views.rows import corrections, set_aside_rows
from pipelines.desk.views.worklist import SETTLED, chosen, worklist
from pipelines.errors import UsageError
from pipelines.queries.months import month_end, month_of
from pipelines.queries.search import search_desk
from schemas import json_schema as js
from schemas.codes import FEEDS, VERDICTS
from schemas.columns import column_names
from schemas.decisions import Decisions
from schemas.register import STATES as LETTER_STATES
from schemas.worklist import GROUPS

MOST_LISTED = 1_000
CORRECTION_STATES = ("in_force", "confirmed", "stale", "withdrawn")
_BESIDE = (
    "group", "reason", "at_stake", "age_days", "days_left", "assigned_to", "hold_until", "original",
)  # fmt: skip


def _claims(query: Query) -> dict[str, Any]:
    listed = worklist(query.site)
    rows = chosen(listed, query.given, query.visitor.user.user)
    offset, limit = query.given.get("offset", 0), query.given.get("limit", 100)
    shown = rows.slice(offset, limit).select(*column_names(Decisions), *_BESIDE)
    claims = [
        {**row, "version": listed.versions.get(row["claim"], 0)}
        for row in shown.with_columns(pl.col("reason").fill_null("")).to_dicts()
    ]
    return {"claims": claims, "total": rows.height}


def _claim(query: Query) -> dict[str, Any]:
    return claim_answer(query.site, query.places["claim"])


def _set_aside(query: Query) -> dict[str, Any]:
    rows, total = set_aside_rows(query.site, query.given)
    return {"rows": rows, "total": total}


def _corrections(query: Query) -> dict[str, Any]:
    state = query.given.get("state")
    made = [one for one in corrections(query.site) if state in (None, one["state"])]
    offset, limit = query.given.get("offset", 0), query.given.get("limit", 100)
    return {"corrections": made[offset : offset + limit], "total": len(made)}


def _letters(query: Query) -> dict[str, Any]:
    given = query.given
    entries = letters(
        query.site.desk,
        query.site.workspace,
        state=given.get("state"),
        agency=given.get("agency"),
        claim=given.get("claim"),
    )
    offset, limit = given.get("offset", 0), given.get("limit", 100)
    return {"letters": entries[offset : offset + limit], "total": len(entries)}


def _letter(query: Query) -> dict[str, Any]:
    return letter(query.site.desk, query.site.workspace, entry=query.places["entry"])


def _search(query: Query) -> dict[str, Any]:
    return search_desk(query.site.desk, query.given.get("q", ""), query.site.day)


def _month(query: Query) -> dict[str, Any]:
    try:
        wanted = month_of(query.places["month"])
    except UsageError as error:
        raise Problem(404, str(error)) from None
    return month_end(query.site.desk, wanted).to_dict()


def _events(query: Query) -> dict[str, Any]:
    given = query.given
    with query.site.desk.reading() as connection:
        events = query.site.desk.events(
            connection,
            claim=given.get("claim"),
            actor=given.get("actor"),
            kinds=[given["kind"]] if given.get("kind") else None,
            after=given.get("after", 0),
            limit=given.get("limit", 100),
        )
    return {"events": [event.to_dict() for event in events]}


_LIMIT = js.integer("How many at the most.", least=1, most=MOST_LISTED)
READINGS: tuple[Reading, ...] = (
    Reading(
        "list_claims",
        "/claims",
        "The worklist: open claims in working order, or the settled ones.",
        described.total_of("claims", described.LISTED),
        _claims,
        {
            "verdict": js.word("Only those of a verdict in force.", VERDICTS),
            "agency": js.text("Only those of an agency."),
            "region": js.text("Only those of a region."),
            "family": js.text("Only those of a family."),
            "missing": js.text("Only those that miss a document."),
            "due": js.word("By the day for their documents.", ("overdue", "ahead")),
            "assigned": js.text("Only those of a user; `me`: the caller's."),
            "group": js.word("Only those of a group.", (*GROUPS, SETTLED)),
            "limit": _LIMIT,
            "offset": js.integer("How many to pass over."),
        },
    ),
    Reading(
        "read_claim",
        "/claims/{claim}",
        "One claim: as it is decided, and what was done with it.",
        described.CLAIM,
        _claim,
        refusals=(404,),
    ),
    Reading(
        "list_set_aside",
        "/set-aside",
        "Rows that are not used, each with its reasons.",
        described.total_of("rows", SET_ASIDE),
        _set_aside,
        {
            "feed": js.word("Only those of a feed.", FEEDS),
            "q": js.text("Only those that hold a text."),
            "file": js.text("Only those of a file."),
            "line": js.integer("Only those on a line of it."),
            "limit": _LIMIT,
            "offset": js.integer("How many to pass over."),
        },
    ),
    Reading(
        "list_corrections",
        "/corrections",
        "Corrections that people made, those in force first.",
        described.total_of("corrections", CORRECTED),
        _corrections,
        {
            "state": js.word("Only those of a state.", CORRECTION_STATES),
            "limit": _LIMIT,
            "offset": js.integer("How many to pass over."),
        },
    ),
    Reading(
        "list_letters",
        "/letters",
        "The register of letters.",
        described.total_of("letters", described.LETTER),
        _letters,
        {
            "state": js.word("Only those of a state.", (*LETTER_STATES, "all")),
            "agency": js.text("Only those to an agency."),
            "claim": js.text("Only those on a claim."),
            "limit": _LIMIT,
            "offset": js.integer("How many to pass over."),
        },
    ),
    Reading(
        "read_letter",
        "/letters/{entry}",
        "One letter as it was frozen.",
        described.FROZEN,
        _letter,
        refusals=(404,),
    ),
    Reading(
        "search",
        "/search",
        "Claims, units, agencies, sites and rows that match a text.",
        search_results(),
        _search,
        {"q": js.text("What is looked for.")},
    ),
    Reading(
        "read_month",
        "/months/{month}",
        "The figures of a month.",
        month(),
        _month,
        refusals=(404,),
    ),
    Reading(
        "list_events",
        "/events",
        "The events in their order.",
        js.record({"events": js.listing("Those asked for.", described.RECORDED)}),
        _events,
        {
            "claim": js.text("Only those of a claim."),
            "actor": js.text("Only those of a person."),
            "kind": js.text("Only those of a kind."),
            "after": js.integer("Only those after an event."),
            "limit": _LIMIT,
        },
    ),
)


def routes(site: DeskSite) -> list[Route]:
    """The path of each reading."""
    return [
        Route(route_path(reading.api_path), _endpoint(site, reading), methods=["GET"])
        for reading in READINGS
    ]


def _endpoint(site: DeskSite, reading: Reading) -> Callable[[Request], Response]:
    def endpoint(request: Request) -> Response:
        given = parameters(reading.parameters, request.query_params)
        query = Query(site, visitor(request), places_of(request), given)
        answer = reading.read(query)
        headers = {"ETag": f'"{answer["version"]}"'} if "version" in answer else {}
        return as_json(answer, headers=headers)

    return endpoint
