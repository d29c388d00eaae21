"""Letters as files: one letter in each of its forms, and the names of files.

Belongs here: contents and names of files. Does not belong here: where they go, and which letters.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from dashboards.letters.message import letter_message
from dashboards.letters.sheet import letter_sheet
from dashboards.letters.templates import LetterTemplates

# Form of a letter -> how its file's name ends.
FORMS = {"text": "txt", "html": "html", "eml": "eml"}


def written_letter(
    letter: Mapping[str, Any],
    templates: LetterTemplates,
    form: str,
    *,
    maker: str,
    sender: str | None,
    written_at: dt.datetime,
) -> bytes:
    """The content of the file of one letter; see `letter_message` for the arguments."""
    if form == "text":
        return templates.text(letter).encode("utf-8")
    if form == "html":
        return letter_sheet(letter, templates).encode("utf-8")
    return letter_message(letter, templates, maker=maker, sender=sender, written_at=written_at)


def entry_file(entry: int, about: str, form: str) -> str:
    """The name of the file of an entry of the register: what is no letter, digit, dot, dash or
    underscore in the claim as `_`."""
    safe = "".join(c if c.isalnum() or c in ".-_" else "_" for c in about)
    return f"{entry}-{safe}.{FORMS[form]}"
