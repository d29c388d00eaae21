"""What programs may ask for: the GET paths below `/api/v1`.

Belongs here: one list of readings with their parameters and answers. Does not belong here:
actions (`operations`), the shape of answers (`described`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import polars as pl
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from pipelines.desk import described
from pipelines.desk.guard import API
from pipelines.desk.json_text import as_json
from pipelines.desk.people import Visitor, visitor
from pipelines.desk.places import places_of, route_path
from pipelines.desk.problems import Problem
from pipelines.desk.site import DeskSite
from pipelines.desk.views.claims import told_claim
from pipelines.desk.views.worklist import SETTLED, chosen, worklist
from schemas import json_schema as js
from schemas.codes import VERDICTS
from schemas.columns import column_names
from schemas.decisions import Decisions
from schemas.worklist import GROUPS

MOST_LISTED = 1_000
_BESIDE = (
    "group", "reason", "at_stake", "age_days", "days_left", "assigned_to", "hold_until", "original",
)  # fmt: skip


@dataclass(frozen=True)
class Asked:
    """One request: its site and visitor, what its path names, and its parameters."""

    site: DeskSite
    visitor: Visitor
    places: Mapping[str, Any]
    given: Mapping[str, Any]


@dataclass(frozen=True)
class Reading:
    """One path to read: its parameters, the shape of its answer, and what gives it."""

    name: str
    path: str
    summary: str
    answer: js.Schema
    read: Callable[[Asked], dict[str, Any]]
    parameters: Mapping[str, js.Schema] = field(default_factory=dict)
    refusals: tuple[int, ...] = ()

    @property
    def api_path(self) -> str:
        """Where programs ask."""
        return f"{API}{self.path}"


def _claims(asked: Asked) -> dict[str, Any]:
    found = worklist(asked.site)
    rows = chosen(found, asked.given, asked.visitor.user.user)
    offset, limit = asked.given.get("offset", 0), asked.given.get("limit", 100)
    shown = rows.slice(offset, limit).select(*column_names(Decisions), *_BESIDE)
    told = [
        {**row, "version": found.versions.get(row["claim"], 0)}
        for row in shown.with_columns(pl.col("reason").fill_null("")).to_dicts()
    ]
    return {"claims": told, "total": rows.height}


def _claim(asked: Asked) -> dict[str, Any]:
    return told_claim(asked.site, asked.places["claim"])


def _events(asked: Asked) -> dict[str, Any]:
    given = asked.given
    with asked.site.desk.reading() as connection:
        found = asked.site.desk.events(
            connection,
            claim=given.get("claim"),
            actor=given.get("actor"),
            kinds=[given["kind"]] if given.get("kind") else None,
            after=given.get("after", 0),
            limit=given.get("limit", 100),
        )
    return {"events": [event.told() for event in found]}


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
        asked = Asked(site, visitor(request), places_of(request), given)
        answer = reading.read(asked)
        headers = {"ETag": f'"{answer["version"]}"'} if "version" in answer else {}
        return as_json(answer, headers=headers)

    return endpoint


def parameters(known: Mapping[str, js.Schema], sent: Mapping[str, str]) -> dict[str, Any]:
    """The parameters of a request; an empty one is not given.

    Raises:
        Problem: 422 one has a value that is wrong.
    """
    found: dict[str, Any] = {}
    errors = []
    for name, schema in known.items():
        value = sent.get(name, "").strip()
        if not value:
            continue
        if schema["type"] == "integer":
            low, high = schema.get("minimum", 0), schema.get("maximum", 10**18)
            if not (value.isascii() and value.isdigit() and low <= int(value[:19]) <= high):
                errors.append((name, f"is no whole number from {low} to {high}."))
                continue
            found[name] = int(value)
        elif "enum" in schema and value not in schema["enum"]:
            errors.append((name, f"is none of {', '.join(schema['enum'])}."))
        else:
            found[name] = value
    if errors:
        raise Problem(422, " ".join(f"{name} {why}" for name, why in errors), errors)
    return found
