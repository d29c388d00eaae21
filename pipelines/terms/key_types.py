"""What each key of a terms file may hold, in words, told from the check that it is held to.

Belongs here: words for checks. Does not belong here: the checks (`shape`), what a key is for
(`descriptions`).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from pipelines.terms.shape import (
    Key,
    _ability,
    _day,
    _either,
    _flag,
    _names,
    _no_limit,
    _not_negative,
    _number,
    _positive,
    _text,
    _whole,
    _words,
)

_TYPES: dict[Callable[..., Any], str | None] = {
    _text: "text",
    _day: "day without quotes",
    _flag: "true or false",
    _number: "number",
    _not_negative: "number, 0 or more",
    _positive: "number above 0",
    _names: "list of names",
    _ability: "one thing that a treatment can do (`removes` in reference/treatments.csv)",
    _no_limit: None,
}


def type_of(key: Key) -> str | None:
    """What a key may hold, in words, by its very check; None where it may hold nothing."""
    check = key.check
    if not isinstance(check, partial):
        return _TYPES[check]
    given: tuple[Any, ...] = check.args
    if check.func is _whole:
        of, most, least = given
        return f"whole number of {of}, {least} to {most:,}"
    if check.func is _words:
        return f"list of: {', '.join(given[1])}"
    if check.func is _either:
        return " or ".join(f'"{word}"' for word in given[0])
    return _TYPES[check.func]
