"""How exports are written, and how it is counted what must become of their rows.

Belongs here: files, marks and days. Does not belong here: what stands in them (`erp`, `systems`).
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from decimal import Decimal
from pathlib import Path

from sample_data.second.world import World


def german(day: dt.date) -> str:
    """31.12.2025."""
    return day.strftime("%d.%m.%Y")


def comma(number: Decimal, decimals: int = 2) -> str:
    """1.591,81."""
    return f"{number:,.{decimals}f}".translate(str.maketrans(",.", ".,"))


class Writer:
    """Writes the exports, and counts what must become of their rows."""

    def __init__(self, world: World, folder: Path) -> None:
        self.world, self.folder = world, folder
        self.truth: dict[str, Counter[str]] = {}

    def count(self, feed: str, **rows: int) -> None:
        """What becomes of rows; each was read, but for those that splitting adds."""
        told = self.truth.setdefault(feed, Counter())
        told.update(rows)
        told["rows_read"] += sum(n for end, n in rows.items()) - 2 * rows.get("rows_split", 0)

    def lines(self, name: str, rows: list[list[str]], mark: str, encoding: str) -> None:
        """A text file."""
        path = self.folder / "exports" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        text = "\r\n".join(mark.join(row) for row in rows) + "\r\n"
        path.write_bytes(text.encode(encoding))
