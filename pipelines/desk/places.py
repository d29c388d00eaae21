"""What a path names: claims, numbers, hashes, months, each one percent-encoded segment.

Belongs here: reading segments. Does not belong here: whether what they name is there.

Routes see the path as it came (`guard`), so that a claim such as `P/92` is one segment, `P%2F92`.
"""

from __future__ import annotations

import re
from typing import Any
from urllib.parse import unquote

from starlette.convertors import Convertor, register_url_convertor
from starlette.requests import Request

from pipelines.desk.problems import Problem

_KINDS = {
    "event": "number",
    "entry": "number",
    "claim": "segment",
    "user": "segment",
    "month": "segment",
}
_PLACEHOLDER = re.compile(r"\{(\w+)\}")


class Segment(Convertor[str]):
    """One segment, decoded; what is no UTF-8 is refused."""

    regex = "[^/]+"

    def convert(self, value: str) -> str:
        """The text that was encoded."""
        try:
            return unquote(value, errors="strict")
        except UnicodeDecodeError:
            raise Problem(404, "The address is not written in UTF-8.") from None

    def to_string(self, value: str) -> str:
        """The segment for a text."""
        from urllib.parse import quote

        return quote(value, safe="")


class Number(Convertor[int]):
    """A whole number without a sign."""

    regex = "[0-9]{1,18}"

    def convert(self, value: str) -> int:
        """The number."""
        return int(value)

    def to_string(self, value: int) -> str:
        """The segment for a number."""
        return str(value)


register_url_convertor("segment", Segment())
register_url_convertor("number", Number())


def route_path(path: str) -> str:
    """A path of the list of operations as routes take it: each name with its kind."""
    return _PLACEHOLDER.sub(
        lambda m: f"{{{m[1]}:{_KINDS[m[1]]}}}" if m[1] in _KINDS else m[0], path
    )


def places_of(request: Request) -> dict[str, Any]:
    """What the path of a request names."""
    return dict(request.path_params)
