"""Filling templates for one entry of the register, as its letter is frozen.

Belongs here: the form of a frozen letter, and the sentence where a template fails. Does not belong
here: the values that fill it (`letter_texts` of claims, `unit_letter_texts`).
"""

from __future__ import annotations

from typing import Any

from dashboards.letters import LetterTemplates, TemplateFault
from dashboards.letters.sheet import letter_sheet
from pipelines.errors import WorkspaceError


def frozen_letter(templates: LetterTemplates, entry: int, letter: dict[str, Any]) -> dict[str, Any]:
    """A row of `schemas.register.LetterTexts`.

    Raises:
        WorkspaceError: a template of the company's does not work for it.
    """
    try:
        return {
            "entry": entry,
            "subject": templates.subject(letter),
            "text": templates.text(letter),
            "html": letter_sheet(letter, templates),
        }
    except TemplateFault as fault:
        raise WorkspaceError(str(fault)) from None
