"""What one action of the desk is: its path, what it is given, and the function that does it.

Belongs here: the shape of the list. Does not belong here: the list (`operations`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from pipelines.desk.guard import API
from schemas import json_schema as js

Kind = Literal["upload", "text", "number", "flag", "claims", "numbers", "texts", "columns", "place"]
Fields = dict[str, Any]


@dataclass(frozen=True)
class Given:
    """One field of a body: its kind, its JSON Schema, and whether it must be there.

    A blank field of a form is not given; `blank` says what it then is, where that means something.
    """

    kind: Kind
    schema: js.Schema
    required: bool = True
    may_be_null: bool = False

    @property
    def described(self) -> js.Schema:
        """Its JSON Schema, with null where that is allowed."""
        return js.or_null(self.schema) if self.may_be_null or not self.required else self.schema


@dataclass(frozen=True)
class Operation:
    """One action: POST to a path below `/api/v1`, and the same path without it for its form.

    versioned: it needs the version of its claim that the caller saw.
    title: its heading and button on the pages.
    is_upload: it is sent as a form with a document, by programs too.
    shown: the address of the page that shows what was done; the claim's where it is not named.
    """

    name: str
    path: str
    title: str
    summary: str
    do: Callable[..., dict[str, Any]]
    given: Mapping[str, Given] = field(default_factory=dict)
    versioned: bool = False
    refusals: tuple[int, ...] = ()
    shown: str | None = None
    is_upload: bool = False

    @property
    def api_path(self) -> str:
        """Where programs send it."""
        return f"{API}{self.path}"


def a_text(description: str, **more: Any) -> Given:
    """A text."""
    return Given("text", {"description": description, "type": "string"}, **more)


REASON = a_text("Why.")
