"""TOML files that people write (settings, terms, mappings), read so that faults have a place.

Belongs here: reading one file, where a key stands in it, and the sentences about keys that are not
known. Does not belong here: which keys a file may have; that is said where the file is used.
"""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from pipelines.errors import WorkspaceError

_PART = r"""(?:[A-Za-z0-9_-]+|"[^"\n]*"|'[^'\n]*')"""
_DOTTED = rf"{_PART}(?:\s*\.\s*{_PART})*"
_HEADER = re.compile(rf"\s*\[\[?\s*({_DOTTED})\s*\]")
_ENTRY = re.compile(rf"\s*({_DOTTED})\s*=")
_AT = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)\s*$")
_MOST_LISTED, _FEW_LISTED = 40, 10  # of more names than that, so many are listed
_NEAR = 75  # likeness (0 to 100) from which on another name is worth suggesting


@dataclass(frozen=True)
class TomlFile:
    """One parsed file: its name as people see it, its tables, its text, the SHA-256 of its bytes.

    Numbers with a point are Decimal, as they were written.
    """

    name: str
    data: dict[str, Any]
    text: str
    sha256: str

    def at(self, path: Iterable[str]) -> str:
        """Tells where a key stands, such as `terms/2024-A.toml line 12, column 1`."""
        position = _locate(self.text, tuple(path))
        return f"{self.name} line {position[0]}, column {position[1]}" if position else self.name


def read_toml(path: Path, name: str) -> TomlFile:
    """Reads `path`, which people know as `name`.

    Raises:
        WorkspaceError: the file is missing, unreadable, not UTF-8 or not TOML; one sentence with
            line and column.
    """
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise WorkspaceError(f"{name} is missing; put the file there.") from None
    except OSError as error:
        reason = error.strerror or error
        raise WorkspaceError(f"{name} cannot be read ({reason}); correct that.") from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        column = error.start - (raw.rfind(b"\n", 0, error.start) + 1) + 1
        raise WorkspaceError(
            f"{name} line {line}, column {column}: the file is not UTF-8 text; save it as UTF-8."
        ) from None
    try:
        data = tomllib.loads(text, parse_float=Decimal)
    except (ValueError, RecursionError) as error:
        raise WorkspaceError(_syntax_fault(name, text, error)) from None
    return TomlFile(name, data, text, hashlib.sha256(raw).hexdigest())


_TWICE = re.compile(r"Cannot declare \((.*)\) twice")


def _syntax_fault(name: str, text: str, error: Exception) -> str:
    message = str(error)
    where = _AT.search(message)
    if where and where[1]:
        line, column = int(where[1]), int(where[2])
    else:
        lines = text.splitlines() or [""]
        line, column = len(lines), len(lines[-1]) + 1
    reason = _AT.sub("", message) or "it cannot be read"
    if reason.startswith("Cannot overwrite a value"):
        return (
            f"{name} line {line}, column {column}: this is not valid TOML ({reason}): the key on "
            "this line is there already; keep one of the two lines, or put # before the other."
        )
    if twice := _TWICE.fullmatch(reason):
        table = ".".join(re.findall(r"'([^']*)'", twice[1]))
        return (
            f"{name} line {line}, column {column}: this is not valid TOML ({reason}): the table "
            f"[{table}] is there already; put the lines of both under one of them."
        )
    return (
        f"{name} line {line}, column {column}: this is not valid TOML ({reason}); "
        "correct that place, a value that is text needs quotes."
    )


def nearest(word: str, known: Collection[str]) -> str | None:
    """The name in `known` that `word` was probably meant to be, or None where nothing is near."""
    from rapidfuzz import fuzz, process  # where something is wrong, and not in every command

    names = sorted(known)
    # Whole names first: by parts alone `site_nmae` would be `site` rather than `site_name`.
    for scorer in (fuzz.ratio, fuzz.WRatio):
        near = process.extractOne(
            word, names, scorer=scorer, processor=str.casefold, score_cutoff=_NEAR
        )
        if near:
            return near[0]
    return None


def suggest(word: str, known: Collection[str]) -> str:
    """The remedy for an unknown word: the near name, else the list of the names there are, or of
    very many the nearest."""
    near = nearest(word, known)
    if near:
        return f"did you mean {near}?"
    if not known:
        return "there are none; take it out."
    if len(known) > _MOST_LISTED:
        from rapidfuzz import process

        names = process.extract(word, sorted(known), processor=str.casefold, limit=_FEW_LISTED)
        return f"of {len(known):,} the nearest are {', '.join(sorted(name for name, *_ in names))}."
    return f"use one of: {', '.join(sorted(known))}."


def show(value: object) -> str:
    """A value as its writer knows it, short enough for a sentence."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        text = json.dumps(value, ensure_ascii=False)  # a line break must not break the sentence
    elif isinstance(value, dict):
        return "a table"
    elif isinstance(value, list):
        text = "[" + ", ".join(show(item) for item in value) + "]"
    else:
        text = str(value)
    return text if len(text) <= 60 else text[:57] + "…"


def dotted(path: Iterable[str]) -> str:
    """A key as its writer knows it; a part with a line break or nothing in it stands in quotes."""
    return ".".join(part if part.isprintable() and part else show(part) for part in path)


def is_number(value: object) -> bool:
    """Whether a TOML value is a finite number (true and false are none)."""
    if isinstance(value, Decimal):
        return value.is_finite()
    return isinstance(value, int) and not isinstance(value, bool)


def is_whole(value: object) -> bool:
    """Whether a TOML value is a whole number (true and false are none)."""
    return isinstance(value, int) and not isinstance(value, bool)


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip("\"'") for part in re.findall(_PART, dotted))


def _locate(text: str, path: tuple[str, ...]) -> tuple[int, int] | None:
    """Line and column (from 1) of a key, or of the nearest table around it that is written out.

    tomllib keeps no positions, so the lines are scanned again for headers and keys.
    """
    best: tuple[int, int, int] | None = None  # length of the path found, line, column
    table: tuple[str, ...] = ()
    quoted = False
    for number, line in enumerate(text.split("\n"), start=1):
        was_quoted = quoted
        if (line.count('"""') + line.count("'''")) % 2:
            quoted = not quoted
        if was_quoted:
            continue
        if header := _HEADER.match(line):
            table = here = _parts(header[1])
            column = header.start(1)
        elif entry := _ENTRY.match(line):
            here = table + _parts(entry[1])
            column = entry.start(1)
        else:
            continue
        if here == path[: len(here)] and (best is None or len(here) > best[0]):
            best = (len(here), number, column + 1)
            inner = path[len(here) :]
            if inner and (match := re.search(rf"[{{,]\s*({re.escape(inner[-1])})\s*=", line)):
                best = (len(path), number, match.start(1) + 1)
        # A table that is only written as a prefix (`[family.X.coverage]`) still places its parents.
        elif best is None and path and here[: len(path)] == path:
            best = (len(path), number, column + 1)
    return (best[1], best[2]) if best else None
