"""The mails of letters: one a letter, or one an agency that names every claim.

Belongs here: which letters go into which mail, and the message (RFC 5322). Does not belong here:
handing it over (`letters`).
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from email.message import EmailMessage
from typing import Any

from dashboards.letters.message import message_of
from pipelines.events.letters import Register
from pipelines.workspace import clock
from pipelines.workspace.settings import Settings

Texts = Mapping[int, Mapping[str, str]]
_RULE = "\n" + "=" * 76 + "\n\n"


@dataclass(frozen=True)
class LetterMail:
    """One message with the letters in it."""

    entries: tuple[int, ...]
    claims: tuple[str, ...]
    to: str
    message: EmailMessage

    @property
    def message_id(self) -> str:
        """Its Message-ID header."""
        return str(self.message["Message-ID"])


def mails_of(
    settings: Settings,
    register: Register,
    texts: Texts,
    entries: Sequence[int],
    one_per_agency: bool,
) -> list[LetterMail]:
    """The mails of these entries, each of which has an address and a text."""
    groups: dict[Any, list[int]] = {}
    for entry in dict.fromkeys(entries):
        row = register.rows[entry]
        whose = (row["agency"], row["email"], None if one_per_agency else entry)
        groups.setdefault(whose, []).append(entry)
    return [_mail(settings, register, texts, group) for group in groups.values()]


def _mail(settings: Settings, register: Register, frozen: Texts, entries: list[int]) -> LetterMail:
    rows = [register.rows[entry] for entry in entries]
    texts = [frozen[entry] for entry in entries]
    claims = tuple(str(row.get("claim") or row.get("serial")) for row in rows)
    written_at = clock.now().replace(tzinfo=None)
    if len(entries) == 1:
        subject, text, html = texts[0]["subject"], texts[0]["text"], texts[0]["html"]
    else:
        subject = f"{len(entries)} letters: {', '.join(claims)}"
        listed = "\n".join(f"- {one['subject']}" for one in texts)
        first = f"This mail holds {len(entries)} letters, one after the other:\n\n{listed}\n"
        text, html = _RULE.join([first, *(one["text"] for one in texts)]), None
    digest_text = "\0".join([*map(str, entries), written_at.isoformat(), text])
    message = message_of(
        subject,
        text,
        html,
        maker=settings.maker,
        sender=settings.sender,
        to=(rows[0].get("agency") or "", rows[0]["email"]),
        written_at=written_at,
        digest=hashlib.sha256(digest_text.encode("utf-8", "surrogatepass")).hexdigest(),
    )
    return LetterMail(tuple(entries), claims, rows[0]["email"], message)
