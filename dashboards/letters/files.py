"""Letters as files: one letter in each of its forms, and a whole folder with its list.

Belongs here: contents and names of files. Does not belong here: where they go, and which letters.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from dashboards import formats
from dashboards.letters.message import letter_message
from dashboards.letters.sheet import letter_index, letter_sheet
from dashboards.letters.templates import LetterTemplates

# Form of a letter -> how its file's name ends.
FORMS = {"text": "txt", "html": "html", "eml": "eml"}
# The file by which a folder of letters is known, the same list for a program.
LIST = "letters.json"


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


def letter_file(claim: str, form: str) -> str:
    """The name of a letter's file."""
    return formats.file_name(claim).removesuffix("html") + FORMS[form]


def listed(letters: list[dict[str, Any]], form: str) -> Iterator[dict[str, Any]]:
    """What the list of a folder tells of each letter."""
    for letter in letters:
        yield {
            "file": letter_file(letter["claim"], form),
            "claim": letter["claim"],
            "agency": letter["agency_name"] or letter["agency"],
            "agency_email": letter["agency_email"],
            "standing": letter["standing"],
            "decision": letter["decision"],
            "payable": letter["total_standing"],
            "documents_due_on": letter["documents_due_on"],
        }


def write_list(folder: Path, rows: list[dict[str, Any]], title: str, currency: str) -> None:
    """Writes the list of a folder of letters, for people (index.html) and for programs."""
    page = letter_index(rows, title, currency)
    (folder / "index.html").write_text(page, encoding="utf-8")
    text = json.dumps(rows, ensure_ascii=False, indent=2, default=str)
    (folder / LIST).write_text(text + "\n", encoding="utf-8")
