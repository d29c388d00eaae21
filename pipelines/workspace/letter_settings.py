"""The `[letters]` part of the settings: from which day letters are due, reminders, and the mail.

Belongs here: its values and what is wrong with them. Does not belong here: which letters are due
(`pipelines.letters.register`) or sending any (`pipelines.actions`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from pipelines.workspace.night import MAIL, Mail, faults_of_mail, read_mail
from pipelines.workspace.toml_file import is_whole, show, suggest
from schemas.codes import LETTER_KINDS as KINDS

MOST_REMINDERS = 100


@dataclass(frozen=True)
class LetterSettings:
    """since: what became known as of an earlier day was told before; None: what first fills the
    register was. reminders: how many follow an unanswered request for documents. kinds: those that
    are made; None: all. mail: None where letters are sent by hand alone.
    """

    since: dt.date | None = None
    reminders: int = 1
    kinds: tuple[str, ...] | None = None
    mail: Mail | None = None


def read_letters(given: Mapping[str, Any], mail: Mapping[str, Any]) -> LetterSettings:
    """The settings from checked values."""
    kinds = {"kinds": tuple(given["kinds"])} if "kinds" in given else {}
    return LetterSettings(**{**given, **kinds}, mail=read_mail(mail))


def faults_of_letters(given: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What a `[letters.mail]` table must say and does not: key and sentence."""
    mail = given.get("mail")
    if not isinstance(mail, dict):
        return []
    needed = {"host": 'host = "mail.example"'}
    faults = faults_of_mail(mail, "letters.mail", needed)
    if mail and "sender" not in given:
        fault = 'needs [letters] sender, the address that letters come from: write sender = "…".'
        faults.append(("host", fault))
    return faults


def _day(value: Any) -> str | None:
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return None
    return f"is {show(value)}; write a day without quotes, such as 2026-09-01."


def _reminders(value: Any) -> str | None:
    if is_whole(value) and 0 <= value <= MOST_REMINDERS:
        return None
    return f"is {show(value)}; write a whole number from 0 to {MOST_REMINDERS}."


def _kinds(value: Any) -> str | None:
    if isinstance(value, list) and all(isinstance(kind, str) for kind in value):
        unknown = [kind for kind in value if kind not in KINDS]
        if not unknown:
            return None
        return f"names {show(unknown[0])}, which is no kind of letter; {suggest(unknown[0], KINDS)}"
    return f'is {show(value)}; write a list of kinds in quotes, such as ["{KINDS[0]}"].'


LETTERS: dict[str, Callable[[Any], str | None]] = {
    "since": _day,
    "reminders": _reminders,
    "kinds": _kinds,
}
LETTER_MAIL = {name: check for name, check in MAIL.items() if name not in ("to", "from")}
