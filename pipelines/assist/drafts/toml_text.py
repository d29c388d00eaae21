"""The text of a drafted mapping: entries by their tables, those that wait commented out.

Belongs here: writing TOML with reasons behind. Does not belong here: what is drafted (`draft`).
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_-]+")


@dataclass
class Entry:
    """A line of a mapping: `key = value` in a table, or one block of an array of tables.

    - `table`: as in the file, `columns`, `values.kind`, `[[leave_out]]`; empty above all tables.
    - `is_active`: whether it is written, or commented out for a person to decide.
    - `reason`: why, behind the line.
    """

    table: str
    key: str
    value: Any
    is_active: bool = True
    reason: str = ""


@dataclass
class Draft:
    """The entries of a mapping, and remarks that stand at the top of a table."""

    opening: list[str]
    entries: list[Entry] = field(default_factory=list)
    remarks: dict[str, list[str]] = field(default_factory=dict)

    def add(
        self, table: str, key: str, value: Any, is_active: bool = True, reason: str = ""
    ) -> None:
        """One more line."""
        self.entries.append(Entry(table, key, value, is_active, reason))

    def remark(self, table: str, *texts: str) -> None:
        """Comments at the top of a table."""
        self.remarks.setdefault(table, []).extend(texts)

    def text(self) -> str:
        """The mapping as TOML."""
        tables = dict.fromkeys(["", *(entry.table for entry in self.entries), *self.remarks])
        parts = ["\n".join(f"# {flat(line)}" for line in self.opening)]
        for table in sorted(tables, key=_order):
            lines = [f"# {flat(remark)}" for remark in self.remarks.get(table, [])]
            entries = [entry for entry in self.entries if entry.table == table]
            if table.startswith("[["):
                lines += [line for entry in entries for line in _block(entry)]
            else:
                lines += [_line(entry) for entry in entries]
                if table and lines:
                    lines.insert(0, f"[{table}]")
            if lines:
                parts.append("\n".join(lines))
        return "\n\n".join(parts) + "\n"


_TABLES = ("", "columns", "constants", "units", "analytes", "transforms", "values", "[[phrases")


def _order(table: str) -> tuple[int, str]:
    begun = [place for place, name in enumerate(_TABLES) if name and table.startswith(name)]
    return (0 if not table else begun[0] if begun else len(_TABLES)), table


def _line(entry: Entry) -> str:
    line = f"{toml_key(entry.key)} = {toml_value(entry.value)}"
    line = f"{line}  # {flat(entry.reason)}" if entry.reason else line
    return line if entry.is_active else f"# {line}"


def _block(entry: Entry) -> list[str]:
    """An entry of an array of tables; its value is a table."""
    lines = [f"# {flat(entry.reason)}"] if entry.reason else []
    lines += [entry.table, *(f"{toml_key(k)} = {toml_value(v)}" for k, v in entry.value.items())]
    start = 1 if entry.reason else 0
    return lines if entry.is_active else lines[:start] + [f"# {line}" for line in lines[start:]]


def flat(text: str) -> str:
    """A text on one line, without signs that end or hide one."""
    return re.sub(r"[\x00-\x08\x0b-\x1f\x7f]", "�", re.sub(r"\s+", " ", text))


def toml_key(key: str) -> str:
    """A key, quoted where it must be."""
    return key if _BARE.fullmatch(key) else toml_value(key)


def toml_value(value: Any) -> str:
    """A value as TOML writes it in one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return str(value)
    if isinstance(value, dict):
        inside = ", ".join(f"{toml_key(k)} = {toml_value(v)}" for k, v in value.items())
        return f"{{ {inside} }}"
    if isinstance(value, Iterable) and not isinstance(value, str):
        return f"[{', '.join(map(toml_value, value))}]"
    # What TOML and JSON escape alike, save DEL.
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")
