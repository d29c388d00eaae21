"""Does one action for one visitor: what was sent becomes fields, and fields an answer.

Belongs here: reading JSON and forms by the list of operations. Does not belong here: the list
(`operations`), or what an action checks.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from io import BytesIO
from typing import Any

from starlette.requests import Request

from pipelines.actions import Caller, Once
from pipelines.actions.acting import answered_before
from pipelines.actions.values import UNSOUND, is_sound
from pipelines.desk.bodies import Form, Upload
from pipelines.desk.kinds import WORDS, can_stand, is_of_kind
from pipelines.desk.operation import Fields, Given, Operation
from pipelines.desk.people import Visitor
from pipelines.desk.problems import Problem
from pipelines.desk.site import DeskSite
from pipelines.events.documents import Document
from pipelines.events.event import Via

# Another entity-tag than a version is one that no claim has (RFC 9110, 8.8.3).
_TAG = re.compile(r'(W/)?"[^"]*"')
_NOT_PRESENT = -1
_VERSION = re.compile(r'"?(0|[1-9][0-9]{0,17})"?')
_NUMBER = re.compile(r"0|[1-9][0-9]{0,17}")
MOST_KEY = 255


def perform(
    site: DeskSite,
    visitor: Visitor,
    operation: Operation,
    places: Mapping[str, Any],
    fields: Fields,
    *,
    version: int | None,
    key: str | None,
    path: str,
    via: Via,
    kept: Sequence[Document] = (),
) -> dict[str, Any]:
    """The answer of an action; whatever it refuses passes as it is.

    Args:
        kept: documents that came with it, which are on the disk already.
    """
    once = None
    if key:
        if len(key) > MOST_KEY or not is_sound(key):
            raise Problem(400, f"The Idempotency-Key is no text of at most {MOST_KEY} characters.")
        once = Once.of(key, path, [identifying_fields(fields), *(one.to_dict() for one in kept)])
    caller = caller_of(site, visitor, via, once)
    if (first := answered_before(site.desk, caller)) is not None:
        return first
    more = {"expected_version": version} if operation.versioned else {}
    if kept:
        fields = fields | {"kept": kept}
    sent = fields.get("document")
    if isinstance(sent, Upload):
        others = {name: value for name, value in fields.items() if name != "document"}
        fields = others | {"source": BytesIO(sent.content), "name": sent.name}
    return operation.do(site.desk, site.workspace, caller, **places, **fields, **more)


def identifying_fields(fields: Fields) -> Fields:
    """The fields by which a request sent again is known: a document by its content."""
    sent = fields.get("document")
    if not isinstance(sent, Upload):
        return fields
    return fields | {"document": [sent.name, hashlib.sha256(sent.content).hexdigest()]}


def caller_of(site: DeskSite, visitor: Visitor, via: Via, once: Once | None = None) -> Caller:
    """The visitor as actions know one."""
    user = visitor.user
    return Caller(
        actor=user.user, name=user.name, role=user.role, via=via, as_of=site.day, once=once
    )


def if_match(request: Request) -> int | None:
    """The version in the header If-Match; None without one (RFC 9110, 13.1.1)."""
    given = request.headers.get("if-match")
    if given is None:
        return None
    given = given.strip()
    if _TAG.fullmatch(given) and not _VERSION.fullmatch(given):
        return _NOT_PRESENT
    return version_of(given)


def version_of(given: str) -> int:
    """A version as it is written in a header or a form."""
    match = _VERSION.fullmatch(given.strip())
    if match is None:
        raise Problem(400, 'A version is a whole number; write it as "17".')
    return int(match[1])


def fields_of_json(operation: Operation, body: Mapping[str, Any]) -> Fields:
    """The fields of a JSON body.

    Raises:
        Problem: 422 one is missing, unknown, or of another kind.
    """
    errors = [(name, "is no field of this action.") for name in body if name not in operation.given]
    fields: Fields = {}
    for name, given in operation.given.items():
        if name not in body:
            if given.required:
                errors.append((name, "is missing."))
            continue
        value = body[name]
        if value is None and (given.may_be_null or not given.required):
            if given.may_be_null:
                fields[name] = None
        elif not is_of_kind(given.kind, value):
            errors.append((name, f"is {WORDS[given.kind]}."))
        elif not can_stand(value):
            errors.append((name, UNSOUND))
        else:
            fields[name] = value
    _refuse(errors)
    return fields


def fields_of_form(operation: Operation, form: Form) -> Fields:
    """The fields of a form; a blank one is not given.

    Raises:
        Problem: 422 one is missing, or of another kind.
    """
    errors: list[tuple[str, str]] = []
    fields: Fields = {}
    for name, given in operation.given.items():
        value = _of_form(name, given, form, errors)
        if not can_stand(value):
            errors.append((name, UNSOUND))
        elif value is not None:
            fields[name] = value
        elif given.may_be_null:
            fields[name] = None
        elif given.required and not any(field == name for field, _ in errors):
            errors.append((name, "is missing."))
    _refuse(errors)
    return fields


def _of_form(name: str, given: Given, form: Form, errors: list[tuple[str, str]]) -> Any:
    match given.kind:
        case "text":
            value = form.get(name)
            return value if value and value.strip() else None
        case "number":
            value = (form.get(name) or "").strip()
            if value and not _NUMBER.fullmatch(value):
                errors.append((name, "is no whole number."))
                return None
            return int(value) if value else None
        case "flag":
            return (form.get(name) or "").lower() in ("true", "yes", "on", "1")
        case "texts":
            return [value for value in form.all(name) if value.strip()] or None
        case "numbers":
            listed = [value.strip() for value in form.all(name) if value.strip()]
            if not all(_NUMBER.fullmatch(value) for value in listed):
                errors.append((name, "are no whole numbers."))
                return None
            return [int(value) for value in listed] or None
        case "columns":
            start = f"{name}."
            cells = {key.removeprefix(start): v for key, v in form.fields if key.startswith(start)}
            return cells or None
        case "place":
            file, line = form.get(f"{name}.file"), (form.get(f"{name}.line") or "").strip()
            if not file:
                return None
            if not _NUMBER.fullmatch(line):
                errors.append((name, "needs the number of a line."))
                return None
            return {"file": file, "line": int(line)}
        case "claims":
            return _claims(form, errors)
        case "upload":
            return form.documents[0] if form.documents else None


def _claims(form: Form, errors: list[tuple[str, str]]) -> list[dict[str, Any]] | None:
    """Claims and versions, repeated in one order."""
    claims, versions = form.all("claim"), form.all("version")
    known = dict(one.rsplit(" ", 1) for one in form.all("seen") if " " in one)
    if not versions and known:  # a list of boxes tells the version of each claim beside it
        versions = [known.get(claim, "") for claim in claims]
    if len(claims) != len(versions) or not all(_NUMBER.fullmatch(one) for one in versions):
        errors.append(("claims", "need a version each."))
        return None
    pairs = zip(claims, versions, strict=True)
    return [{"claim": claim, "version": int(version)} for claim, version in pairs] or None


def _refuse(errors: list[tuple[str, str]]) -> None:
    if errors:
        reasons = " ".join(f"{name} {why}" for name, why in errors)
        raise Problem(422, f"{reasons} Nothing was recorded.", errors)
