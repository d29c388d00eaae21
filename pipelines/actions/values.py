"""What an action is given: texts, days, moments and amounts, or what is wrong with them.

Belongs here: reading one field. Does not belong here: values of feeds (`pipelines.records`).
"""

from __future__ import annotations

import datetime as dt
import re
from decimal import Decimal, InvalidOperation
from typing import Any

from pipelines.errors import Refused

MOST_TEXT = 10_000
UNSOUND = "holds a character that no text can hold; write it without."
_FIRST_YEAR, _LAST_YEAR = 1900, 2199
_AMOUNT = re.compile(r"[0-9]*\.?[0-9]*")  # as a person writes one, without signs or exponents
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


def refuse(field: str, reason: str) -> Refused:
    """A refusal for the value of one field; `reason` goes on after the field's name."""
    return Refused(422, f"{field} {reason} Nothing was recorded.", [(field, reason)])


def text(field: str, given: object, *, most: int = MOST_TEXT) -> str:
    """A text of 1 to `most` characters, without blanks around it."""
    if not isinstance(given, str) or not given.strip():
        raise refuse(field, "is empty; write it.")
    if not is_sound(given):
        raise refuse(field, UNSOUND)
    plain = given.strip().replace("\r\n", "\n")  # a form's lines end with two signs (HTML, 4.10.21)
    if len(plain) > most:
        raise refuse(field, f"has {len(plain):,} characters; at most {most:,} are kept.")
    return plain


def is_sound(given: str) -> bool:
    """Whether a text can stand in every database: no NUL, no half of a pair."""
    if "\0" in given:
        return False
    try:
        given.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def day(field: str, given: object) -> dt.date:
    """A day as YYYY-MM-DD."""
    try:
        if isinstance(given, dt.date) and not isinstance(given, dt.datetime):
            calendar_day = given
        elif isinstance(given, str) and _DAY.fullmatch(given.strip()):
            calendar_day = dt.date.fromisoformat(given.strip())
        else:
            raise ValueError
        if not _FIRST_YEAR <= calendar_day.year <= _LAST_YEAR:
            raise ValueError
    except ValueError:
        raise refuse(field, "is no date; write it as YYYY-MM-DD, such as 2026-03-31.") from None
    return calendar_day


def moment(field: str, given: object) -> str:
    """A date and time as the rulings feed has it, to the second."""
    try:
        if not isinstance(given, str) or not _DAY.match(given.strip()):
            raise ValueError
        date_time = dt.datetime.fromisoformat(given.strip())
        if not _FIRST_YEAR <= date_time.year <= _LAST_YEAR:
            raise ValueError
    except ValueError:
        raise refuse(field, "is no date and time; write it as 2026-03-31T14:05.") from None
    return date_time.isoformat(timespec="seconds")


def amount(field: str, given: Any) -> Decimal | None:
    """An amount of money, not below 0, with two decimals at the most; None where none is given."""
    if given is None or given == "":
        return None
    try:
        plain = str(given).strip()
        if not _AMOUNT.fullmatch(plain):
            raise InvalidOperation
        money = Decimal(plain)
        if not money.is_finite() or money < 0 or money != round(money, 2) or money >= 10**12:
            raise InvalidOperation
    except InvalidOperation:
        raise refuse(field, "is no amount; write a number such as 120.50, not below 0.") from None
    return money


def word(field: str, given: object, words: tuple[str, ...]) -> str:
    """One of some words, in any case."""
    lowered = given.strip().lower() if isinstance(given, str) else ""
    if lowered not in words:
        raise refuse(field, f"is none of {', '.join(words)}; choose one of them.")
    return lowered


# What a reason says of exports is no way out for who types a value.
_OF_EXPORTS = (
    (", or name its form under dates in the mapping", ""),
    ("name the mark under thousands or decimal in the mapping, or write it", "write it"),
    (
        "with the decimal mark that the mapping names, `.` where it names none",
        "with `.` for fractions",
    ),
    (", or translate it in the mapping", ""),
    ("; or translate it in the mapping", ""),
    ("correct it in the source", "correct it"),
)


def for_a_person(reason: str) -> str:
    """Why a value is refused, as it is told to somebody who typed it."""
    for phrase, instead in _OF_EXPORTS:
        reason = reason.replace(phrase, instead)
    return reason
