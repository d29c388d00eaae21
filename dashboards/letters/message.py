"""A letter as a mail message that is ready to be sent, but not sent.

Belongs here: headers and parts (RFC 5322, RFC 2046). Does not belong here: sending anything.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Mapping
from email.headerregistry import Address, Group
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from typing import Any

from dashboards.letters.sheet import letter_sheet
from dashboards.letters.templates import LetterTemplates

# What it writes passes every server: lines of CRLF, seven bits.
_POLICY = SMTP.clone(cte_type="7bit")


def letter_message(
    letter: Mapping[str, Any],
    templates: LetterTemplates,
    *,
    maker: str,
    sender: str | None,
    written_at: dt.datetime,
) -> bytes:
    """The message of one letter, with a text and an HTML part, lines ended by CRLF.

    Without a `sender` the From header holds the maker's name as a group without an address, which
    RFC 6854 allows; the program that sends the message puts its own there. Without an address of
    the agency there is no To. `X-Unsent` opens the message as a draft where a program knows it.

    Args:
        letter: a row of `schemas.letters.LETTERS`.
        sender, and agency_email of the letter: plain addresses, checked when they were read.
        written_at: UTC without zone; the Date header.
    """
    text, html = templates.text(letter), letter_sheet(letter, templates)
    digest = hashlib.sha256(f"{letter['claim']}\0{written_at}\0{text}".encode()).hexdigest()
    message = message_of(
        templates.subject(letter),
        text,
        html,
        maker=maker,
        sender=sender,
        to=(letter["agency_name"] or letter["agency"] or "", letter["agency_email"]),
        written_at=written_at,
        digest=digest,
    )
    message["X-Unsent"] = "1"
    return message.as_bytes()


def message_of(
    subject: str,
    text: str,
    html: str | None,
    *,
    maker: str,
    sender: str | None,
    to: tuple[str, str | None],
    written_at: dt.datetime,
    digest: str,
) -> EmailMessage:
    """A message with a text, and an HTML part where there is one.

    Args:
        to: name and address; without an address there is no To.
        written_at: UTC without zone; the Date header.
        digest: 64 characters that stand for this message and no other; of them its Message-ID and
            its parts' boundary are made, so that the same letter is the same file.
    """
    message = EmailMessage(policy=_POLICY)
    message["Subject"] = header_text(subject)
    name = header_text(maker)
    message["From"] = _mailbox(name, sender) if sender else Group(name, ())
    if to[1]:
        message["To"] = _mailbox(header_text(to[0]), to[1])
    message["Date"] = format_datetime(written_at.replace(tzinfo=dt.UTC))
    message["Message-ID"] = (
        f"<{digest[:32]}@{sender.rpartition('@')[2] if sender else 'letters.invalid'}>"
    )
    message.set_content(text)
    if html is not None:
        message.add_alternative(html, subtype="html")
        # The parts' boundary would else be drawn at random.
        message.set_boundary(f"=_{digest[32:]}")
    return message


def header_text(text: str) -> str:
    """A text that stays inside its header: printable characters on one line."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _mailbox(name: str, address: str) -> Address:
    return Address(display_name=name, addr_spec=address)
