"""What one path to read is, and its parameters.

Belongs here: the shape of the list. Does not belong here: the list (`readings`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from pipelines.desk.guard import API
from pipelines.desk.people import Visitor
from pipelines.desk.problems import Problem
from pipelines.desk.site import DeskSite
from schemas import json_schema as js


@dataclass(frozen=True)
class Query:
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
    read: Callable[[Query], dict[str, Any]]
    parameters: Mapping[str, js.Schema] = field(default_factory=dict)
    refusals: tuple[int, ...] = ()

    @property
    def api_path(self) -> str:
        """Where programs ask."""
        return f"{API}{self.path}"


def parameters(known: Mapping[str, js.Schema], sent: Mapping[str, str]) -> dict[str, Any]:
    """The parameters of a request; an empty one is not given.

    Raises:
        Problem: 422 one has a value that is wrong.
    """
    values: dict[str, Any] = {}
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
            values[name] = int(value)
        elif "enum" in schema and value not in schema["enum"]:
            errors.append((name, f"is none of {', '.join(schema['enum'])}."))
        else:
            values[name] = value
    if errors:
        raise Problem(422, " ".join(f"{name} {why}" for name, why in errors), errors)
    return values
