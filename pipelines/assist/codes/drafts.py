"""Drafts of reference files from the codes that exports use.

Belongs here: one line a code, and the other spellings. Does not belong here: writing files
(`pipelines.queries.code_lists`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import polars as pl

from pipelines.assist.codes.spellings import Spelling, put_together
from pipelines.assist.codes.usage import KINDS
from schemas.codes import FEEDS
from schemas.columns import column_names
from schemas.reference import REFERENCE_TABLES

# By kind the file, and its column for a description or name.
FILES = {
    "model": ("models", "description"),
    "product": ("treatments", "description"),
    "cause": ("causes", "description"),
    "agency": ("agencies", "name"),
    "region": ("regions", "name"),
    "site": ("sites", "site_name"),
}
GROUPED = ("agency", "site", "product", "cause")
USE = ("rows", "feeds", "first_seen", "last_seen", "known")
ALIAS_COLUMNS = ("kind", "written", "means", "rows", "likeness", "reason")
_SITES = ("site", "site_name", "region", "postal_code", "units")


@dataclass(frozen=True)
class KnownCodes:
    """What is known of a kind: codes, names to codes, aliases (written to code), and the file.

    `lines` has the rows of the reference file as texts, by code.
    """

    codes: tuple[str, ...] = ()
    names: Mapping[str, str] = field(default_factory=dict)
    aliases: Mapping[str, str] = field(default_factory=dict)
    lines: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


@dataclass(frozen=True)
class CodeLine:
    """One code: its spellings, the most frequent first, and what is told of it."""

    kind: str
    code: str
    name: str
    spellings: list[str]
    rows: int
    known: bool
    line: dict[str, str]


def code_lines(
    used: pl.DataFrame, known: Mapping[str, KnownCodes]
) -> tuple[list[CodeLine], list[dict[str, Any]]]:
    """The codes of all kinds, and the lines of drafts/aliases.csv.

    Args:
        used: by `usage.added_up`.
        known: by kind.
    """
    lines: list[CodeLine] = []
    aliases: list[dict[str, Any]] = []
    for kind in KINDS:
        of_kind = used.filter(kind=kind)
        known_codes = known.get(kind, KnownCodes())
        groups = _groups(kind, of_kind["written"].to_list(), known_codes)
        entries = {entry["written"]: entry for entry in of_kind.to_dicts()}
        by_leader: dict[str, list[Spelling]] = {}
        places = {text: place for place, text in enumerate(entries)}  # the most frequent first
        for spelling in sorted(groups, key=lambda one: places[one.written]):
            by_leader.setdefault(spelling.means, []).append(spelling)
        for code, spellings in by_leader.items():
            lines.append(_line(kind, code, spellings, entries, known_codes))
            aliases += [
                _alias(kind, one, entries[one.written]["rows"])
                for one in spellings
                if one.written != code and one.reason != _ALIASED
            ]
    return lines, aliases


_ALIASED = "an alias already"


def _groups(kind: str, written: list[str], known_codes: KnownCodes) -> list[Spelling]:
    """The spellings of a kind under their codes; those that are aliases already go first."""
    plain = {_plain(text): means for text, means in known_codes.aliases.items()}
    aliased = [
        Spelling(text, plain[_plain(text)], 1.0, _ALIASED)
        for text in written
        if _plain(text) in plain
    ]
    left = [text for text in written if _plain(text) not in plain]
    if kind in GROUPED:
        # What aliases mean leads too, where no reference file has it.
        leaders = dict.fromkeys([*known_codes.codes, *(one.means for one in aliased)])
        return [*aliased, *put_together(left, leaders, known_codes.names)]
    return [*aliased, *(Spelling(text, text, 1.0, "") for text in left)]


def _plain(text: str) -> str:
    return " ".join(text.split()).lower()


def _alias(kind: str, spelling: Spelling, rows: int) -> dict[str, Any]:
    return {
        "kind": kind,
        "written": spelling.written,
        "means": spelling.means,
        "rows": rows,
        "likeness": spelling.likeness,
        "reason": spelling.reason,
    }


def _line(
    kind: str,
    code: str,
    spellings: list[Spelling],
    entries: Mapping[str, Mapping[str, Any]],
    known_codes: KnownCodes,
) -> CodeLine:
    _, name_column = FILES[kind]
    mine = [entries[one.written] for one in spellings]
    rows = sum(entry["rows"] for entry in mine)
    using = {feed for entry in mine for feed in entry["feeds"].split()}
    feeds = " ".join(feed for feed in FEEDS if feed in using)
    first = [entry["first_seen"] for entry in mine if entry["first_seen"] is not None]
    last = [entry["last_seen"] for entry in mine if entry["last_seen"] is not None]
    is_known = code in known_codes.codes or any(one.reason == _ALIASED for one in spellings)
    line = dict(known_codes.lines.get(code, {}))
    name = (
        line.get(name_column)
        or next((entry["name"] for entry in mine if entry["name"]), None)
        or ""
    )
    line |= {kind: code, name_column: name}
    if kind == "site":
        for column in ("region", "postal_code"):
            line[column] = next((entry[column] for entry in mine if entry[column]), None) or ""
        # A register comes again and again: each unit counts once, whatever spelling it has.
        serials = {serial for entry in mine for serial in entry["serials"] if serial is not None}
        line["units"] = str(len(serials))
    line |= {
        "rows": str(rows),
        "feeds": feeds,
        "first_seen": min(first).isoformat() if first else "",
        "last_seen": max(last).isoformat() if last else "",
        "known": "yes" if is_known else "no",
    }
    written = [one.written for one in spellings]
    return CodeLine(kind, code, name, written, rows, is_known, line)


def columns_of(kind: str) -> list[str]:
    """The columns of a draft: those of its reference file, then what the exports tell."""
    own = list(_SITES) if kind == "site" else column_names(REFERENCE_TABLES[FILES[kind][0]])
    return [*own, *USE]
