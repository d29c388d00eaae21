"""The page of one claim: as it is decided, what people did with it, and what can be done.

Belongs here: gathering what the template needs, for every claim on record. Does not belong here:
deciding (`pipelines.queries`), what an action checks (`pipelines.actions`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from dashboards import formats
from dashboards.desk_words import LETTER_KINDS, LETTER_STATES, local
from pipelines.actions import Caller
from pipelines.actions.caller import Action
from pipelines.actions.corrections import CORRECTED
from pipelines.actions.letters import letters
from pipelines.actions.users import all_users
from pipelines.desk.claim_content import claim_content, published_parts
from pipelines.desk.controls import Choices, form_of
from pipelines.desk.operations import BY_NAME
from pipelines.desk.pages.rows import correct_link
from pipelines.desk.people import visitor
from pipelines.desk.performing import caller_of
from pipelines.desk.problems import Problem
from pipelines.desk.published_pages import claim_of_file
from pipelines.desk.rendering import claim_path, page
from pipelines.desk.site import DeskSite
from pipelines.desk.views.claims import ClaimNow, claim_now, steps_of
from pipelines.desk.wording import event_said
from pipelines.errors import Refused
from pipelines.queries.decided_since import decided_since
from pipelines.worklist.next_steps import NextStep

# The forms of a claim's page, each with what its sender must be allowed.
_OFFERED: tuple[tuple[str, Action], ...] = (
    ("rule", "rule"),
    ("note", "note"),
    ("assign", "assign"),
    ("hold", "hold"),
    ("appeal", "appeal"),
    ("keep_document", "document"),
)


def routes(site: DeskSite) -> list[Route]:
    """The path of every claim."""

    def shown(request: Request) -> Response:
        claim = request.path_params["claim"]
        try:
            return page(request, site, "desk/claim.html", content(request, site, claim))
        except Refused as refused:
            of_file = claim_of_file(site, claim)
            if refused.status == 404 and of_file is not None:
                return RedirectResponse(claim_path(of_file), 303)
            raise

    return [Route("/claims/{claim:segment}", shown, methods=["GET"])]


def content(request: Request, site: DeskSite, claim: str) -> dict[str, Any]:
    """What the template needs.

    Raises:
        Refused: 404 for a claim that is not on record.
    """
    caller = caller_of(site, visitor(request), "web")
    since = decided_since(site.desk, site.day)
    parts = published_parts(site, claim, since)
    page_content: Mapping[str, Any] | None = {"title": f"Claim {claim}"}
    if parts is None:
        page_content = claim_content(site, claim, since)
    now = claim_now(site, claim, since)
    if page_content is None:
        raise Problem(
            404,
            f"Claim {claim} is on record no more: its row was corrected or withdrawn. The pages "
            "Corrections and Audit tell by whom and why.",
        )
    zone = site.settings.zone
    acts = _forms(site, caller, now)
    entering = f"/records?{urlencode({'claim': claim})}" if caller.may("record") else None
    return dict(page_content) | {
        "page": "claim",
        "parts": parts,
        "up": "/",
        "version": now.version,
        "acts": acts,
        "state": _state(site, now),
        "rulings": [],
        "differs": _differs(now),
        "unit_serial": (now.decided or now.published or {}).get("serial"),
        "steps": _steps(steps_of(site, claim, since), claim, caller, entering),
        "desk_rulings": [_ruling(ruling, now, caller) for ruling in now.rulings],
        "notes": [
            {"when": local(note["at"], zone), "who": note["actor"], "text": note["text"]}
            for note in reversed(now.state.notes)
        ],
        "letters": [
            {
                "entry": one["entry"],
                "what": LETTER_KINDS.get(one["kind"], one["kind"]),
                "state": LETTER_STATES[one["state"]],
                "when": one["sent_on"] or one["as_of"],
            }
            for one in reversed(letters(site.desk, site.workspace, claim=claim))
        ],
        "documents": [
            {"sha256": one["sha256"], "name": one["name"], "when": local(one["at"], zone)}
            for one in reversed(now.state.documents)
        ],
        "entering": entering,
        "rows": _rows(now) if caller.may("correct") else [],
        "events": [
            {"n": e.event, "when": local(e.at, zone), "who": e.actor, "said": event_said(e)}
            for e in reversed(now.events)
        ],
    }


def _steps(
    of_claim: Sequence[NextStep], claim: str, caller: Caller, entering: str | None
) -> list[tuple[str, str | None]]:
    """Each step in words, and where on the desk it is done; None where the visitor may not."""
    steps = []
    for step in of_claim:
        event = (step.path or "").removesuffix("/approval").rpartition("/")[2]
        places = {
            "rule": "#rule-form" if caller.may("rule") else None,
            "wait": "#hold-form" if caller.may("hold") else None,
            "approve": f"#approve-{event}-form" if caller.may("approve") else None,
            "send": f"/letters?{urlencode({'claim': claim})}",
            "enter": entering,
            "correct": "#correct-row" if caller.may("correct") else None,
        }
        steps.append((step.label, places.get(step.action)))
    return steps


def _forms(site: DeskSite, caller: Caller, now: ClaimNow) -> list[dict[str, Any]]:
    """The forms that the visitor's role may send."""
    users = [(user.user, user.name) for user in all_users(site.desk) if not user.disabled]
    begun: dict[str, dict[str, Any]] = {
        "assign": {"to": now.state.assigned_to or caller.actor},
        "appeal": {"received_on": caller.as_of.isoformat()},
        "keep_document": {"claim": now.claim},
        "hold": {"until": now.state.hold_until.isoformat() if now.state.hold_until else ""},
    }
    return [
        form_of(
            BY_NAME[name],
            BY_NAME[name].path.replace("/claims/{claim}", claim_path(now.claim)),
            version=now.version,
            choices=Choices(users=users, begin_with=begun.get(name, {})),
        )
        for name, action in _OFFERED
        if caller.may(action)
    ]


def _state(site: DeskSite, now: ClaimNow) -> list[str]:
    """Desk state in sentences."""
    state = now.state
    names = {user.user: user.name for user in all_users(site.desk)}
    said = []
    if state.assigned_to:
        said.append(f"Assigned to {names.get(state.assigned_to, state.assigned_to)}.")
    if state.hold_until and state.hold_until > site.day:
        said.append(f"On hold until {state.hold_until}: {state.hold_reason}")
    if appeal := state.appeal_beside(now.decided):
        said.append(f"Appealed on {appeal['received_on']}: {appeal['reason']}")
    waiting = [ruling for ruling in now.rulings if ruling["state"] == "waiting"]
    if waiting:
        said.append("A ruling waits for a second person; until then it counts for nothing.")
    return said


def _differs(now: ClaimNow) -> str | None:
    """What the last refresh published, where that is not what is decided now."""
    if not now.differs:
        return None
    if now.published is None:
        return "The pages of the last refresh do not have this claim yet."
    if now.decided is None:
        return "This claim is on record no more; the pages of the last refresh still have it."
    was, is_now = now.published["standing"], now.decided["standing"]
    if was == is_now:
        return (
            "The pages of the last refresh give the same decision, with other reasons or amounts; "
            "they follow with the next refresh."
        )
    return (
        f"The pages of the last refresh say: {formats.VERDICTS[was].lower()}. They follow with the "
        "next refresh."
    )


def _ruling(ruling: dict[str, Any], now: ClaimNow, caller: Caller) -> dict[str, Any]:
    """One ruling made at the desk, with what can be done about it."""
    forms = []
    place = f"/rulings/{ruling['event']}"
    offered: tuple[tuple[str, Action, str, bool], ...] = (
        ("approve", "approve", f"{place}/approval", ruling["state"] == "waiting"),
        ("withdraw_ruling", "withdraw", f"{place}/withdrawal", ruling["state"] != "withdrawn"),
    )
    for name, action, path, able in offered:
        if able and ruling["event"] is not None and caller.may(action):
            key = f"{name.replace('_', '-')}-{ruling['event']}"
            forms.append(form_of(BY_NAME[name], path, version=now.version, key=key))
    words = {
        "stands": "in force",
        "waiting": "waits for a second person",
        "overruled": "replaced by a later one",
        "withdrawn": "withdrawn",
    }
    granted = ruling.get("granted")
    return {
        "head": f"{formats.VERDICTS[ruling['ruling']]}, {words[ruling['state']]}",
        "when": f"{ruling['ruled_at'][:16].replace('T', ' ')} by {ruling['ruled_by']}",
        "reason": ruling["reason"],
        "money": f"{granted} to be paid." if granted is not None else "",
        "approved_by": ruling.get("approved_by"),
        "forms": forms,
    }


def _rows(now: ClaimNow) -> list[tuple[str, str]]:
    """The rows on which the decision rests, each with where it is corrected."""
    cited = {
        (one["feed"], one["key"], one["file"], one["line"])
        for finding in (now.decided or {}).get("findings", ())
        for one in finding["evidence"] or ()
        if one["feed"] in CORRECTED
    }
    return [
        (
            f"{formats.FEEDS[feed]} {key}: {file}, line {line}",
            correct_link(feed, file, line, now.claim),
        )
        for feed, key, file, line in sorted(cited)
    ]
