"""Draws that the scenarios share.

Belongs here: a seeded source of choices with weights and jitter. Does not belong here: what is
drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from random import Random
from typing import Any

from dateutil.relativedelta import relativedelta


class Draws(Random):
    """Python's generator with the few draws that the scenarios need."""

    def chance(self, probability: float) -> bool:
        """True with the probability."""
        return self.random() < probability

    def weighted(self, weights: dict[Any, float]) -> Any:
        """One key, by weight."""
        return self.choices(list(weights), list(weights.values()))[0]

    def some(self, values: Sequence[Any], most: int) -> list[Any]:
        """One to `most` different values."""
        return self.sample(list(values), min(len(values), self.randint(1, most)))

    def near(self, day: date) -> date:
        """The day itself, the day before or the day after."""
        return day + timedelta(days=self.choice((-1, 0, 0, 1)))

    def after(self, day: date, most: int) -> date:
        """Up to `most` days later."""
        return day + timedelta(days=self.randint(0, most))

    def between(self, start: date, end: date) -> date:
        """A day from start to end; the start where the end is before it."""
        return start + timedelta(days=self.randint(0, max((end - start).days, 0)))

    def month_end(self, day: date) -> date:
        """One of the last four days of the day's month."""
        last = day + relativedelta(day=31)
        return last - timedelta(days=self.randint(0, 3))
