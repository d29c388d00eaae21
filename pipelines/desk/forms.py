"""The form twin of every action: the API's path without `/api/v1`, fields of a form, a page after.

Belongs here: what becomes of a form. Does not belong here: pages that hold forms (`pages`), the
actions themselves.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from pipelines.actions.users import all_users
from pipelines.desk.bodies import Form, read_form
from pipelines.desk.controls import Choices, Typed, form_of
from pipelines.desk.documents import keep_all
from pipelines.desk.operation import Operation
from pipelines.desk.operations import OPERATIONS
from pipelines.desk.people import check_token, visitor
from pipelines.desk.performing import caller_of, fields_of_form, perform, version_of
from pipelines.desk.places import places_of, route_path
from pipelines.desk.problems import Problem, problem_of
from pipelines.desk.rendering import claim_path, page, shown_problem
from pipelines.desk.site import DeskSite
from pipelines.errors import LimeledgerError

WAYS_OUT = {
    403: "Nothing was lost: what you typed is below. Ask somebody who may, or change it.",
    409: "Look at what is there, then send the form again if it still fits.",
    412: "What you typed is below. If it still fits, send it again: it now goes by what is there.",
    422: "Mend what is marked and send the form again.",
}


def routes(site: DeskSite) -> list[Route]:
    """The path of each action's form."""
    return [
        Route(route_path(operation.path), _endpoint(site, operation), methods=["POST"])
        for operation in OPERATIONS
    ]


def _endpoint(site: DeskSite, operation: Operation) -> Any:
    async def endpoint(request: Request) -> Response:
        takes = "documents" in operation.given or operation.is_upload
        most = site.settings.desk.max_document_mb if takes else None
        form = await read_form(request, most)
        check_token(request, site, form.get("csrf_token"))
        places = places_of(request)
        try:
            answer, fields = await run_in_threadpool(_do, site, request, operation, places, form)
        except (Problem, LimeledgerError) as error:
            problem = problem_of(error)
            return await run_in_threadpool(_again, site, request, operation, places, form, problem)
        return RedirectResponse(shown_at(operation, places, fields, answer, form), 303)

    return endpoint


def _do(
    site: DeskSite, request: Request, operation: Operation, places: dict[str, Any], form: Form
) -> tuple[dict[str, Any], dict[str, Any]]:
    version = form.get("version")
    kept = []
    if form.documents and not operation.is_upload:
        kept = keep_all(site, caller_of(site, visitor(request), "web"), form)
    if "was" in operation.given:
        form = without_what_is_as_it_was(form)
    fields = fields_of_form(operation, form)
    answer = perform(
        site,
        visitor(request),
        operation,
        places,
        fields,
        version=version_of(version) if version and operation.versioned else None,
        key=form.get("once") or None,
        path=request.url.path,
        via="web",
        kept=kept,
    )
    return answer, fields


def without_what_is_as_it_was(form: Form) -> Form:
    """A form of all columns without those that nobody changed."""
    was = dict(pair for pair in form.fields if pair[0].startswith("was."))
    same = {f"values.{key.removeprefix('was.')}": value for key, value in was.items()}
    changed = [pair for pair in form.fields if same.get(pair[0]) != pair[1]]
    kept = {key for key, _ in changed if key.startswith("values.")}
    columns = {key.removeprefix("values.") for key in kept}
    return Form(
        [
            (key, value)
            for key, value in changed
            if not key.startswith("was.") or key.removeprefix("was.") in columns
        ],
        form.documents,
    )


def _again(
    site: DeskSite,
    request: Request,
    operation: Operation,
    places: Mapping[str, Any],
    form: Form,
    problem: Problem,
) -> Response:
    """The form with everything that was typed, what is wrong, and what to do."""
    typed = Typed(operation.name, form, problem)
    version = _version_now(site, operation, places, form, problem)
    users = [(user.user, user.name) for user in all_users(site.desk) if not user.disabled]
    content = {
        "title": operation.title
        if "claim" not in places
        else f"{operation.title}: claim {places['claim']}",
        "told": shown_problem(problem, site.settings.zone)
        | {"way_out": WAYS_OUT.get(problem.status)},
        "says": None,
        "back": _back(operation, places, form),
        "form": form_of(
            operation,
            request.url.path,
            version=version,
            choices=Choices(users=users),
            typed=typed,
        ),
    }
    return page(
        request,
        site,
        "desk/form.html",
        content,
        status=problem.status,
        headers=problem.headers,
    )


def _version_now(
    site: DeskSite,
    operation: Operation,
    places: Mapping[str, Any],
    form: Form,
    problem: Problem,
) -> int | None:
    """The version that the form goes by next: after a conflict, the one that is there now."""
    if not operation.versioned:
        return None
    given = form.get("version") or ""
    if problem.status not in (412, 428) and given.isdigit():
        return int(given)
    with site.desk.reading() as connection:
        claim = places.get("claim")
        if claim is None:
            event = site.desk.event(connection, places["event"])
            claim = event.claim if event else None
        return site.desk.version(connection, claim) if claim is not None else None


def shown_at(
    operation: Operation,
    places: Mapping[str, Any],
    fields: Mapping[str, Any],
    answer: Mapping[str, Any],
    form: Form,
) -> str:
    """The page that shows what was done."""
    shown = form.get("shown") or places.get("claim")
    if operation.shown is not None and not shown:
        return operation.shown.format_map(AddressParts({**answer, **places}))
    claim = shown or answer.get("claim") or fields.get("claim")
    return claim_path(str(claim)) if claim else "/corrections"


class AddressParts(dict[str, Any]):
    """What a page's address is filled with."""

    def __missing__(self, key: str) -> str:
        """Nothing stands for what the answer does not tell."""
        return ""


def _back(operation: Operation, places: Mapping[str, Any], form: Form) -> tuple[str, str] | None:
    claim = places.get("claim") or form.get("shown")
    if claim:
        return claim_path(str(claim)), f"Claim {claim}"
    return ("/", "Morning")
