"""A slow and obvious second reader of delimited text, to compare the fast one with.

It walks over the characters one by one, after the rules of the contract for exports.
"""

from __future__ import annotations

from pathlib import Path

from pipelines.exports import read_rows

SPACES = (
    "\t\n\x0b\x0c\r \x85\xa0\u1680\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009"
    "\u200a\u2028\u2029\u202f\u205f\u3000"
)


def compare_with_reference(
    path: Path, delimiter: str, width: int, top: str, body: str, block_bytes: int
) -> None:
    """Reads header line and body with both readers, and asserts that they find the same."""
    path.write_bytes((top + body).encode())
    names = [f"h{index}" for index in range(width)]
    reading = read_rows(path, known_names=names, block_bytes=block_bytes)
    assert reading.fault is None
    if width == 1:
        delimiter = reading.delimiter
    lines = physical_lines(top + body)
    sound, aside = read_reference(lines[1:], 2, delimiter, width)
    got = {line: list(fields) for line, _, *fields in reading.rows.iter_rows()}
    assert got == sound
    assert list(got) == sorted(got)
    rules: dict[int, set[str]] = {}
    for line, _, _, rule, _ in reading.faults.iter_rows():
        rules.setdefault(line, set()).add(rule)
    assert rules == aside
    assert reading.rows_read == len(sound) + len(aside)


def physical_lines(text: str) -> list[str]:
    """The lines with their ends."""
    lines, line, at = [], "", 0
    while at < len(text):
        end = "\r\n" if text[at : at + 2] == "\r\n" else text[at]
        line += end
        at += len(end)
        if end in ("\n", "\r", "\r\n"):
            lines.append(line)
            line = ""
    return [*lines, line] if line else lines


def read_reference(lines: list[str], first_line: int, delimiter: str, width: int):
    """Sound rows as {line: fields} and rows set aside as {line: set of rules}."""
    sound: dict[int, list[str]] = {}
    aside: dict[int, set[str]] = {}
    at = 0
    while at < len(lines):
        if lines[at].strip("\r\n") == "":
            at += 1
            continue
        fields, rules, used = _row(lines, at, delimiter, width)
        is_cut = at + used == len(lines) and not lines[-1].endswith(("\n", "\r"))
        if "unclosed_quote" in rules and is_cut:
            rules = rules - {"unclosed_quote"} | {"cut_off_line"}
        if not rules and len(fields) > width:
            rules = {"too_many_fields"}
        elif not rules and len(fields) < width:
            rules = {"cut_off_line" if is_cut else "too_few_fields"}
        for field in fields:
            if "\0\ufffd" in field:
                rules = rules | {"undecodable_byte"}
            if "\0" in field.replace("\0\ufffd", ""):
                rules = rules | {"nul_byte"}
        if rules:
            aside[first_line + at] = rules
        else:
            sound[first_line + at] = [field.strip(SPACES) for field in fields]
        at += used
    return sound, aside


def _row(lines: list[str], at: int, delimiter: str, width: int):
    text = "".join(lines[at:])
    opened_by_line = []  # for each character the line that it stands on
    for number, line in enumerate(lines[at:]):
        opened_by_line += [number] * len(line)
    blanks = " " if delimiter == "\t" else " \t"
    stops = delimiter + "\r\n"
    fields, rules, here = [], set(), 0
    while True:
        start = here
        while here < len(text) and text[here] in blanks:
            here += 1
        if here < len(text) and text[here] == '"':
            opening, value, closed = here, "", False
            here += 1
            while here < len(text) and not closed:
                if text[here] != '"':
                    value += text[here]
                elif text[here : here + 2] == '""':
                    value += '"'
                    here += 1
                else:
                    closed = True
                here += 1
            closing = here - 1
            while closed and here < len(text) and text[here] in blanks:
                here += 1
            if closed and here < len(text) and text[here] not in stops:
                line = opened_by_line[closing]
                if line > opened_by_line[opening] and _is_own_row(
                    lines[at + line], closing - opened_by_line.index(line), delimiter, width
                ):
                    closed = False
                else:
                    rules.add("text_after_quote")
                    while here < len(text) and text[here] not in stops:
                        here += 1
                    value = text[opening:here]
            if not closed:
                rules.add("unclosed_quote")
                rest = lines[at + opened_by_line[opening]].rstrip("\r\n")
                fields.append(rest[opening - opened_by_line.index(opened_by_line[opening]) :])
                return fields, rules, opened_by_line[opening] + 1
            fields.append(value)
        else:
            here = start
            while here < len(text) and text[here] not in stops:
                here += 1
            fields.append(text[start:here])
        if here == len(text):
            return fields, rules, len(lines) - at
        if text[here] != delimiter:
            return fields, rules, opened_by_line[here] + 1
        here += 1


def _is_own_row(line: str, quote: int, delimiter: str, width: int) -> bool:
    """Whether the line with a quote that closes nothing is a row of its own."""
    before = line[:quote].rstrip(" " if delimiter == "\t" else " \t")
    if before == "" or before.endswith(delimiter):
        return True
    fields, rules, _ = _row([line], 0, delimiter, width)
    return not rules and len(fields) == width
