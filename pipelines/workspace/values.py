"""Text of a reference file to a value, or what is wrong with the text.

Belongs here: one reading a kind of column. Does not belong here: exports, which allow for more
(`pipelines.records`).
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from pipelines.workspace.toml_file import suggest

_YES = {"yes", "y", "true", "1"}
_NO = {"no", "n", "false", "0"}
_DAY = re.compile(r"(\d{4}-\d\d-\d\d)(?:[T ]\d\d:\d\d.*)?")
# `1,234` alone may be a decimal comma, so a comma needs a second one or a point.
_GROUPS = r"\d{1,3}(?: \d{3})+|\d{1,3}(?:,\d{3}){2,}|\d{1,3},\d{3}(?=\.)"
_NUMBER = re.compile(rf"[+-]?(?:(?:\d+|{_GROUPS})(?:\.\d+)?|\.\d+)")
NOT_IN_SERIALS = re.compile(r"[\s./\-\u2010-\u2015\u2212]")
_REGION = re.compile(r"[A-Z]{2}-[A-Z0-9]{1,3}")
# The plain form of an address (RFC 5322, 3.4.1): a dot-atom, an at sign and a host's name.
_ATOM = r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+"
_ADDRESS = re.compile(rf"{_ATOM}(?:\.{_ATOM})*@[A-Za-z0-9-]+(?:\.[A-Za-z0-9-]+)*")
_MOST_ADDRESS = 254  # characters that mail can carry (RFC 5321, 4.5.3.1.3, less its brackets)
_PLACES = {"money": (12, 6), "hours": (8, 10)}  # digits before and after the point


class ValueFault(Exception):
    """What is wrong with a value: the rest of a sentence that begins with the value."""


def _serial(text: str) -> str:
    """As exports have it: upper case, without spaces, dashes, dots and slashes."""
    bare = NOT_IN_SERIALS.sub("", text).upper()
    if not bare:
        raise ValueFault("is no serial; write its letters and digits.")
    return bare


def read_value(kind: str, text: str, words: Sequence[str], noun: str) -> Any:
    """The value of a text that is not empty, by the column's kind (see `schemas.columns`).

    Raises:
        ValueFault: the text is no such value; says what to write instead.
    """
    match kind:
        case "text":
            return text
        case "serial":
            return _serial(text)
        case "flag":
            return _flag(text)
        case "word":
            return _word(text, words, noun)
        case "texts":
            return _several(text, words, noun)
        case "day":
            return _day(text)
        case "region":
            return _region(text)
        case "integer":
            return _whole(text)
        case "number":
            return float(_number(text))
        case "money" | "hours":
            return _exact(text, *_PLACES[kind])
        case _:
            raise AssertionError(f"no reference file has a column of kind {kind}")


def is_address(text: str) -> bool:
    """Whether a text is one plain mail address that can stand in a header as it is."""
    return len(text) <= _MOST_ADDRESS and _ADDRESS.fullmatch(text) is not None


def _flag(text: str) -> bool:
    if text.casefold() in _YES:
        return True
    if text.casefold() in _NO:
        return False
    raise ValueFault("is neither yes nor no; write yes or no.")


def _word(text: str, words: Sequence[str], noun: str) -> str:
    if text.casefold() in words:
        return text.casefold()
    raise ValueFault(f"is no {noun}; {suggest(text, words)}")


def _several(text: str, words: Sequence[str], noun: str) -> list[str]:
    several = text.split()
    if len(several) == 1:
        return [_word(text, words, noun)]
    for word in several:
        if word.casefold() not in words:
            raise ValueFault(f'names "{word}", which is no {noun}; {suggest(word, words)}')
    return sorted({word.casefold() for word in several})


def _day(text: str) -> dt.date:
    match = _DAY.fullmatch(text)
    if not match:
        raise ValueFault("is no date; write it as YYYY-MM-DD, such as 2026-03-31.")
    try:
        return dt.date.fromisoformat(match[1])
    except ValueError:
        raise ValueFault("is a day that no calendar has; correct it.") from None


def _region(text: str) -> str:
    if _REGION.fullmatch(text.upper()):
        return text.upper()
    raise ValueFault("is no ISO 3166-2 code; write one such as US-NM.")


def _number(text: str) -> Decimal:
    if not text.isascii() or not _NUMBER.fullmatch(text):
        raise ValueFault("is no number; write digits with a decimal point, such as 1234.5.")
    return Decimal(text.replace(",", "").replace(" ", ""))


def _whole(text: str) -> int:
    number = _number(text)
    if number != number.to_integral_value() or abs(number) > 10**9:
        raise ValueFault("is no whole number; write one such as 2.")
    return int(number)


def _exact(text: str, before: int, after: int) -> Decimal:
    number = _number(text)
    if abs(number) >= 10**before or number != round(number, after):
        raise ValueFault(
            f"has too many digits; at most {before} before the point and {after} after it."
        )
    return number
