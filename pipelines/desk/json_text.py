"""Answers as JSON: money as text with two decimals, days and moments as ISO 8601.

Belongs here: the form of values. Does not belong here: what is told.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from starlette.responses import Response

_CENT = Decimal("0.01")


def as_json(value: Any, status: int = 200, headers: Mapping[str, str] | None = None) -> Response:
    """An answer of JSON."""
    text = json.dumps(
        value, ensure_ascii=False, separators=(",", ":"), default=plain, allow_nan=False
    )
    raw = text.encode("utf-8", "backslashreplace")
    return Response(raw, status, dict(headers or {}), media_type="application/json")


def plain(value: Any) -> Any:
    """A value that JSON has no form for."""
    if isinstance(value, Decimal):
        return str(value.quantize(_CENT, ROUND_HALF_UP))
    if isinstance(value, dt.date | dt.datetime):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} has no JSON form here")
