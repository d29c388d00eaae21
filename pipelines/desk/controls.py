"""The controls of each action's form: label, kind, what was typed, what is wrong with it.

Belongs here: how a field is asked for. Does not belong here: what it may hold
(`pipelines.actions`), or the markup (`dashboards/templates/desk/forms.html`).
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from dashboards import formats
from pipelines.desk.bodies import Form
from pipelines.desk.operation import Operation
from pipelines.desk.problems import Problem
from schemas.codes import RULINGS
from schemas.columns import fields
from schemas.feeds import FEED_TABLES

LABELS = {
    "ruling": "Decision",
    "reason": "Reason",
    "parts_amount": "Parts",
    "labor_amount": "Labor",
    "travel_amount": "Travel",
    "ruled_at": "Decided at",
    "received_on": "Received on",
    "text": "Note",
    "to": "To",
    "until": "Until",
    "claim": "Claim",
    "documents": "Documents, by SHA-256",
    "state": "State",
    "on": "On",
    "note": "Note",
    "feed": "Feed",
    "file": "File",
    "line": "Line",
    "settles": "Takes the place of the row set aside at",
    "letters": "Letters",
    "one_mail_per_agency": "One mail an agency",
}
HINTS = {
    "parts_amount": "Leave empty for what is claimed or payable.",
    "ruled_at": "Leave empty for now.",
    "until": "Leave empty to end the hold.",
}
AREAS = ("reason", "text", "note")
DAYS = ("received_on", "until", "on")


@dataclass(frozen=True)
class Typed:
    """A form that was sent and not done: what it held, and why."""

    operation: str
    form: Form
    problem: Problem

    @property
    def errors(self) -> dict[str, list[str]]:
        """What is wrong, by field."""
        by_field: dict[str, list[str]] = {}
        for name, why in self.problem.errors:
            by_field.setdefault(name, []).append(why)
        return by_field


@dataclass(frozen=True)
class Choices:
    """What may be chosen, and what a form begins with."""

    users: Sequence[tuple[str, str]] = ()
    states: Sequence[tuple[str, str]] = ()
    begin_with: Mapping[str, Any] = field(default_factory=dict)


def form_of(
    operation: Operation,
    action: str,
    *,
    version: int | None = None,
    choices: Choices | None = None,
    typed: Typed | None = None,
    key: str | None = None,
    shown: str | None = None,
) -> dict[str, Any]:
    """A form as the templates draw it; `shown` is the claim whose page follows."""
    mine = typed if typed is not None and typed.operation == operation.name else None
    choices = choices or Choices()
    return {
        "key": key or operation.name.replace("_", "-"),
        "title": operation.title,
        "action": action,
        "version": version if operation.versioned else None,
        "once": secrets.token_urlsafe(16),
        "controls": [
            control
            for name in operation.given
            for control in _controls(name, operation, choices, mine)
        ],
        "has_documents": "documents" in operation.given or operation.is_upload,
        "needs_document": operation.is_upload,
        "shown": (mine.form.get("shown") if mine else shown) or None,
        "open": mine is not None,
        "errors": mine.errors if mine else {},
    }


def _controls(
    name: str, operation: Operation, choices: Choices, typed: Typed | None
) -> list[dict[str, Any]]:
    given = operation.given[name]
    control = {
        "name": name,
        "label": LABELS.get(name, name.replace("_", " ").capitalize()),
        "hint": HINTS.get(name),
        "required": given.required and not given.may_be_null,
        "value": choices.begin_with.get(name, ""),
        "kind": "text",
        "options": (),
        "empty": None,
    }
    if typed is not None:
        control["value"] = typed.form.get(name) or ""
    if given.kind == "claims":
        return _chosen(typed)
    if given.kind == "upload":
        return []
    if given.kind == "columns":
        return _columns(name, operation, choices, typed)
    if given.kind == "place":
        return _place(name, choices, typed)
    if given.kind in ("texts", "numbers"):
        values = typed.form.all(name) if typed else choices.begin_with.get(name, ())
        return [control | {"kind": "hidden", "value": str(value)} for value in values]
    if name == "ruling":
        words = [(word, formats.VERDICTS[word]) for word in RULINGS]
        return [control | {"kind": "select", "options": words, "empty": "Choose"}]
    if name == "to":
        return [control | {"kind": "select", "options": choices.users, "empty": "Nobody"}]
    if name == "state":
        return [control | {"kind": "select", "options": choices.states}]
    if given.kind == "flag":
        return [control | {"kind": "checkbox"}]
    if name in ("feed", "file", "line") or (name == "claim" and operation.path[1:8] != "claims/"):
        return [control | {"kind": "hidden"}] if control["value"] != "" else []
    if name in AREAS:
        return [control | {"kind": "area"}]
    if name in DAYS:
        return [control | {"kind": "date"}]
    if name == "ruled_at":
        return [control | {"kind": "datetime-local"}]
    return [control]


def _chosen(typed: Typed | None) -> list[dict[str, Any]]:
    """The claims of a bulk ruling, as they were ticked."""
    if typed is None:
        return []
    seen = [{"kind": "hidden", "name": "seen", "value": one} for one in typed.form.all("seen")]
    ticked = [
        {"kind": "ticked", "name": "claim", "label": claim, "value": claim}
        for claim in typed.form.all("claim")
    ]
    return [*seen, *ticked]


def _columns(
    name: str, operation: Operation, choices: Choices, typed: Typed | None
) -> list[dict[str, Any]]:
    """One control a column; what the caller saw travels along unseen."""
    start = f"{name}."
    if typed is not None:
        held = {key: value for key, value in typed.form.fields if key.startswith(start)}
    else:
        begun = choices.begin_with.get(name) or {}
        held = {f"{start}{column}": value for column, value in begun.items()}
    if name == "was":
        return [{"kind": "hidden", "name": key, "value": value} for key, value in held.items()]
    feed = (typed.form.get("feed") if typed else choices.begin_with.get("feed")) or ""
    columns = fields(FEED_TABLES[feed]) if feed in FEED_TABLES else {}
    return [
        _cell(key, columns.get(key.removeprefix(start)), value, is_new="was" not in operation.given)
        for key, value in held.items()
    ]


def _cell(key: str, column: Any, value: str, *, is_new: bool) -> dict[str, Any]:
    """The control of one column: labelled by what it holds and in which unit, with its name beside.

    Of a new row a column that every row needs has to be filled in.
    """
    name = key.split(".", 1)[1]
    metadata = (column.metadata or {}) if column is not None else {}
    unit = f" ({metadata['unit']})" if metadata.get("unit") else ""
    words = ("yes", "no") if metadata.get("kind") == "flag" else tuple(metadata.get("words") or ())
    chosen = bool(words) and value in ("", *words)  # what was typed otherwise is kept as it was
    return {
        "kind": "select" if chosen else "text",
        "name": key,
        "label": f"{column.description.removesuffix('.')}{unit}" if column is not None else name,
        "hint": name if column is not None else None,
        "required": is_new and bool(metadata.get("required")),
        "value": value,
        "options": [(word, word) for word in words],
        "empty": "",
    }


def _place(name: str, choices: Choices, typed: Typed | None) -> list[dict[str, Any]]:
    begun = choices.begin_with.get(name) or {}
    hidden = []
    for part in ("file", "line"):
        key = f"{name}.{part}"
        value = (typed.form.get(key) if typed else begun.get(part)) or ""
        if value != "":
            hidden.append({"kind": "hidden", "name": key, "value": value})
    return hidden
