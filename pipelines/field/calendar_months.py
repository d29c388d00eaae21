"""The calendar months between two days.

Belongs here: months alone. Does not belong here: time at risk, failures, ages.
"""

from __future__ import annotations

from datetime import date

import numpy as np


def months_between(first: date, last: date) -> list[date]:
    """First days of the calendar months from that of `first` to that of `last`, both included."""
    begin, end = (np.datetime64(day, "M") for day in (first, last))
    return np.arange(begin, end + 1).astype("datetime64[D]").tolist()
