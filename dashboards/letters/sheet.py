"""A letter as a page of its own.

Belongs here: the whole HTML document. Does not belong here: the letter inside (`templates`).
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from dashboards.letters.templates import LetterTemplates

if TYPE_CHECKING:
    import jinja2


def letter_sheet(letter: Mapping[str, Any], templates: LetterTemplates) -> str:
    """One letter as an HTML document without any other file."""
    return (
        _environment()
        .get_template("letter_sheet.html")
        .render(title=templates.subject(letter), letter=Markup(templates.html(letter)))
    )


@cache
def _environment() -> jinja2.Environment:
    from dashboards.environment import page_environment

    return page_environment()
