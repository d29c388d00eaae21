"""The register of letters: its list, one letter as it was frozen, and the forms to mark and send.

Belongs here: these pages, and a letter as a file. Does not belong here: which letters are due, or
what may follow what (`pipelines.actions.letters`).
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from dashboards import formats
from dashboards.desk_words import LETTER_KINDS, LETTER_STATES
from dashboards.letters.message import message_of
from pipelines.actions.letters import letter, letters
from pipelines.desk.controls import Choices, form_of
from pipelines.desk.guard import API
from pipelines.desk.operations import BY_NAME
from pipelines.desk.people import visitor
from pipelines.desk.performing import caller_of
from pipelines.desk.problems import Problem
from pipelines.desk.rendering import claim_path, page, unit_path
from pipelines.desk.site import DeskSite
from pipelines.events.letters import agencies_of_letters
from schemas.register import MAY_FOLLOW, STATES

TYPES = {
    "txt": "text/plain; charset=utf-8",
    "html": "text/html; charset=utf-8",
    "eml": "message/rfc822",
}
ROWS = 300


def routes(site: DeskSite) -> list[Route]:
    """The paths of letters."""

    def listed(request: Request) -> Response:
        return page(request, site, "desk/letters.html", _list(request, site))

    def shown(request: Request) -> Response:
        entry = request.path_params["entry"]
        return page(request, site, "desk/letter.html", _letter(request, site, entry))

    def filed(request: Request) -> Response:
        entry, form = request.path_params["entry"], request.path_params["form"]
        if form not in TYPES:
            raise Problem(404, "A letter is there as .txt, .html or .eml.")
        row = letter(site.desk, site.workspace, entry=entry)
        if row["text"] is None:
            raise Problem(
                404, f"Letter {entry} was told before the register began; it has no text."
            )
        headers = {
            "Content-Disposition": f'attachment; filename="letter-{entry}.{form}"',
            "Content-Security-Policy": "sandbox; default-src 'none'",
        }
        return Response(_content(row, form, site), headers=headers, media_type=TYPES[form])

    return [
        Route("/letters", listed, methods=["GET"]),
        Route("/letters/{entry:number}", shown, methods=["GET"]),
        *(
            Route(f"{start}/letters/{{entry:number}}.{form}", _of(filed, form), methods=["GET"])
            for start in ("", API)
            for form in TYPES
        ),
    ]


def _of(endpoint: Any, form: str) -> Any:
    """The endpoint for one form."""

    def answer(request: Request) -> Response:
        request.path_params["form"] = form
        result: Response = endpoint(request)
        return result

    return answer


def _content(row: Mapping[str, Any], form: str, site: DeskSite) -> bytes:
    """The frozen letter as a file."""
    if form == "txt":
        return str(row["text"]).encode("utf-8")
    if form == "html":
        return str(row["html"]).encode("utf-8")
    text = f"{row['entry']}\0{row['made_at']}\0{row['text']}"
    message = message_of(
        row["subject"],
        row["text"],
        row["html"],
        maker=site.settings.maker,
        sender=site.settings.sender,
        to=(row["agency"] or "", row["email"]),
        written_at=dt.datetime.fromisoformat(row["made_at"]).replace(microsecond=0),
        digest=hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest(),
    )
    message["X-Unsent"] = "1"
    return message.as_bytes()


def _list(request: Request, site: DeskSite) -> dict[str, Any]:
    sent = request.query_params
    state = sent.get("state") or "to_send"
    if state not in (*STATES, "all"):
        state = "to_send"
    agency = sent.get("agency") or None
    claim = sent.get("claim") or None
    rows = letters(site.desk, site.workspace, state=state, agency=agency, claim=claim)
    offset = _offset(sent.get("offset"))
    with site.desk.reading() as connection:
        agencies = agencies_of_letters(connection)
    caller = caller_of(site, visitor(request), "web")
    may_send = caller.may("letters")
    return {
        "title": "Letters",
        "given": {"state": state, "agency": agency},
        "states": [*LETTER_STATES.items(), ("all", "all")],
        "agencies": agencies,
        "rows": [_row(row) for row in rows[::-1][offset : offset + ROWS]],
        "total": formats.counted(len(rows), "letter"),
        "more": _more({"state": state, "agency": agency, "claim": claim}, offset, len(rows)),
        "sending": form_of(BY_NAME["send_letters"], "/letters/sending") if may_send else None,
    }


def _offset(given: str | None) -> int:
    """How many letters to pass over; none where that is no number."""
    digits = (given or "")[:9]
    return int(digits) if digits.isascii() and digits.isdigit() else 0


def _more(given: Mapping[str, str | None], offset: int, total: int) -> list[tuple[str, str]]:
    """Links to the newer letters and to the older ones."""
    kept = {name: value for name, value in given.items() if value}
    links = []
    for at, words in ((offset - ROWS, "Newer letters"), (offset + ROWS, "Older letters")):
        if -ROWS < at < total and at != offset:
            links.append((f"/letters?{urlencode({**kept, 'offset': max(0, at)})}", words))
    return links


def _row(row: Mapping[str, Any]) -> dict[str, Any]:
    about = row["claim"] or row.get("serial") or ""
    return {
        **row,
        "about": about,
        "address": claim_path(about) if row["claim"] else unit_path(about) if about else None,
        "kind_word": LETTER_KINDS.get(row["kind"], row["kind"]),
        "state_word": LETTER_STATES.get(row["state"], row["state"]),
        "can_send": row["state"] == "to_send" and bool(row["email"]),
        "when": row["sent_on"] or row["as_of"],
    }


def _letter(request: Request, site: DeskSite, entry: int) -> dict[str, Any]:
    row = letter(site.desk, site.workspace, entry=entry)
    caller = caller_of(site, visitor(request), "web")
    forms = []
    if caller.may("letters"):
        able = [(one, LETTER_STATES[one]) for one in MAY_FOLLOW.get(row["state"], ())]
        if row["may_have_gone_out"] and row["state"] == "to_send":
            able.append(("to_send", LETTER_STATES["to_send"]))
        if able:
            choices = Choices(states=able, begin_with={"on": caller.as_of.isoformat()})
            forms.append(
                form_of(BY_NAME["mark_letter"], f"/letters/{entry}/state", choices=choices)
            )
        if row["state"] == "to_send" and row["email"]:
            begin = Choices(begin_with={"letters": [entry]})
            forms.append(form_of(BY_NAME["send_letters"], "/letters/sending", choices=begin))
    about = row["claim"] or ""
    facts = [
        ("State", LETTER_STATES[row["state"]]),
        ("What", LETTER_KINDS.get(row["kind"], row["kind"])),
        ("To", row["agency"]),
        ("Address", row["email"]),
        ("Known as of", row["as_of"]),
        ("Sent on", row["sent_on"]),
        ("Sent by", row["sent_by"]),
        ("Answered on", row["answered_on"]),
        ("Documents due", row["due_on"]),
        ("Note", row["note"]),
    ]
    return {
        "title": f"Letter {entry}",
        "entry": row,
        "claim_address": claim_path(about) if about else None,
        "facts": [(label, value) for label, value in facts if value],
        "forms": forms,
        "text": row["text"],
    }
