"""Why a row that was parsed by itself is set aside, and how its text is shown.

Belongs here: every rule but those that rows of easy lines can break (`line_blocks`). Does not
belong here: the words (`reading`).
"""

from __future__ import annotations

from dataclasses import dataclass

from pipelines.exports.encodings import UNDECODABLE, Text
from pipelines.exports.reading import (
    count_reason,
    cut_off_quote_reason,
    nul_reason,
    text_after_quote_reason,
    too_long_reason,
    unclosed_quote_reason,
    undecodable_reason,
)
from pipelines.exports.row_parser import ParsedRow

# Line, place of the field (None: the whole row), what stood there, rule, sentence.
Fault = tuple[int, int | None, str, str, str]


@dataclass(frozen=True)
class Form:
    """What all rows of a file have in common; `width` is the number of header names."""

    text: Text
    delimiter: str
    width: int
    max_field_chars: int | None


def judge(form: Form, row: ParsedRow, start: int, line: int) -> list[Fault]:
    """Every reason for which a hard row is set aside."""
    faults: list[Fault] = []
    data = form.text.data
    has_nul = data.find(b"\0", start, row.end) >= 0
    ends_without = row.end == row.next_start == len(data)
    for index, rule in row.faults:
        if rule == "text_after_quote":
            reason = text_after_quote_reason(index)
        elif ends_without:
            rule, reason = "cut_off_line", cut_off_quote_reason(index)
        else:
            reason = unclosed_quote_reason(index)
        place = index if index < form.width else None
        faults.append((line, place, _shown(row.fields[index]), rule, reason))
    is_whole = len(row.fields) == form.width
    if not (is_whole or row.faults):
        raw = form.delimiter.join(_shown(field) for field in row.fields)
        cut_off = ends_without and len(row.fields) < form.width
        faults.append((line, None, raw, *count_reason(len(row.fields), form.width, cut_off)))
    if not (has_nul or (form.max_field_chars and row.end - start > form.max_field_chars)):
        return faults
    for index, field in enumerate(row.fields):
        place = index if is_whole else None
        if UNDECODABLE in field:
            reason = undecodable_reason(index, form.text.encoding)
            faults.append((line, place, _shown(field), "undecodable_byte", reason))
        if b"\0" in field.replace(UNDECODABLE, b""):
            faults.append((line, place, _shown(field), "nul_byte", nul_reason(index)))
        allowed = form.max_field_chars
        if allowed and len(field) > allowed and (chars := len(field.decode().strip())) > allowed:
            reason = too_long_reason(index, chars, allowed)
            faults.append((line, place, _shown(field), "field_too_long", reason))
    return faults


def decoded(fields: list[bytes]) -> list[str]:
    """The fields of a sound row, in which no NUL can stand."""
    return b"\0".join(fields).decode().split("\0")


def _shown(field: bytes) -> str:
    text = field.decode().replace(UNDECODABLE.decode(), "\ufffd").replace("\0", "\u2400")
    return text.strip()
