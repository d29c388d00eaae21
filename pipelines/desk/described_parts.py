"""Small shapes that answers share.

Belongs here: what several answers have. Does not belong here: answers (`described`).
"""

from __future__ import annotations

from schemas import json_schema as js

Schema = js.Schema
EVENT = js.integer("The number of the event.", least=1)
VERSION = js.integer("The claim's version: the number of its last event; 0 without one.")


def text_or_null(description: str) -> Schema:
    """Text, or null."""
    return {"description": description, "type": ["string", "null"]}
