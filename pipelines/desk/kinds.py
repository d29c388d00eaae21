"""The kinds of fields of an action: what JSON must hold for each.

Belongs here: looking at a value. Does not belong here: reading requests (`performing`), or what a
field means (`operations`).
"""

from __future__ import annotations

from typing import Any

from pipelines.actions.values import is_sound

WORDS: dict[str, str] = {
    "text": "no text",
    "number": "no whole number",
    "flag": "neither true nor false",
    "claims": "no list of claims with their versions",
    "numbers": "no list of whole numbers",
    "texts": "no list of texts",
    "columns": "no object of texts by column",
    "place": "no file with a line",
}


def is_of_kind(kind: str, value: Any) -> bool:
    """Whether a value of JSON is of a kind of field."""
    match kind:
        case "text":
            return isinstance(value, str)
        case "number":
            return _is_whole(value)
        case "flag":
            return isinstance(value, bool)
        case "texts":
            return isinstance(value, list) and all(isinstance(one, str) for one in value)
        case "numbers":
            return isinstance(value, list) and all(_is_whole(one) for one in value)
        case "columns":
            return isinstance(value, dict) and all(isinstance(v, str) for v in value.values())
        case "place":
            return (
                isinstance(value, dict)
                and set(value) == {"file", "line"}
                and isinstance(value["file"], str)
                and _is_whole(value["line"])
            )
        case _:
            return isinstance(value, list) and all(
                isinstance(one, dict)
                and set(one) == {"claim", "version"}
                and isinstance(one["claim"], str)
                and _is_whole(one["version"])
                for one in value
            )


def can_stand(value: Any) -> bool:
    """Whether every text in a value is one that every database holds."""
    if isinstance(value, str):
        return is_sound(value)
    if isinstance(value, dict):
        return all(can_stand(one) for pair in value.items() for one in pair)
    return not isinstance(value, list) or all(can_stand(one) for one in value)


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 10**18
