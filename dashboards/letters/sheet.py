"""A letter as a page of its own, and the list of a morning's letters.

Belongs here: whole HTML documents. Does not belong here: the letter inside (`templates`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup

from dashboards import formats, theme
from dashboards.environment import page_environment
from dashboards.letters.templates import LetterTemplates

_HERE = Path(__file__).parents[1]


def letter_sheet(letter: Mapping[str, Any], templates: LetterTemplates) -> str:
    """One letter as an HTML document without any other file."""
    return (
        _environment()
        .get_template("letter_sheet.html")
        .render(title=templates.subject(letter), letter=Markup(templates.html(letter)))
    )


def letter_index(rows: Sequence[Mapping[str, Any]], title: str, currency: str) -> str:
    """The list of some letters, each row as `files.listed` tells it."""
    fill = {"title": title, "rows": rows, "currency": currency, "style": Markup(_page_style())}
    return _environment().get_template("letter_index.html").render(fill)


@cache
def _environment() -> jinja2.Environment:
    environment = page_environment()
    environment.filters |= {"day": formats.day, "money": formats.money}
    return environment


def _page_style() -> str:
    return theme.tokens_css() + (_HERE / "static" / "style.css").read_text(encoding="utf-8")
