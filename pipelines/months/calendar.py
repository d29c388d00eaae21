"""Months as people write them: YYYY-MM.

Belongs here: reading one, its days, the one after it. Does not belong here: figures.
"""

from __future__ import annotations

import calendar
import datetime as dt
import re
from dataclasses import dataclass


@dataclass(frozen=True, order=True)
class Month:
    """A calendar month."""

    year: int
    number: int

    @classmethod
    def of(cls, text: str) -> Month:
        """Of YYYY-MM.

        Raises:
            ValueError: it is none.
        """
        if not re.fullmatch(r"[0-9]{4}-[0-9]{2}", text):
            raise ValueError(text)
        year, number = int(text[:4]), int(text[5:])
        if not (1900 <= year <= 2199 and 1 <= number <= 12):
            raise ValueError(text)
        return cls(year, number)

    def __str__(self) -> str:
        return f"{self.year:04}-{self.number:02}"

    @property
    def first(self) -> dt.date:
        """Its first day."""
        return dt.date(self.year, self.number, 1)

    @property
    def last(self) -> dt.date:
        """Its last day."""
        return dt.date(self.year, self.number, calendar.monthrange(self.year, self.number)[1])

    @property
    def before(self) -> Month:
        """The one before it."""
        return Month(self.year - (self.number == 1), (self.number + 10) % 12 + 1)

    @property
    def after(self) -> Month:
        """The next one."""
        return Month(self.year + self.number // 12, self.number % 12 + 1)
