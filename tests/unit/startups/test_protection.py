"""How long needs are met without a gap, against walking day by day."""

import datetime as dt
import random

import polars as pl

from pipelines.startups.protection import protected_to
from pipelines.units.treatment_states import ABILITY_BITS
from schemas.columns import TEXTS

START, DAY = dt.date(2024, 2, 20), dt.timedelta(days=1)
LONG = 60  # days: longer than any window that ends
NEEDS = ("scale", "chloride", "ph")


def walked(needs, start, windows):
    """The last day of the run from `start` on which some window does each need; None: for ever."""
    for step in range(LONG):
        day = start + step * DAY
        there = {ability for able, begin, end in windows for ability in able
                 if begin <= day and (end is None or day <= end)}  # fmt: skip
        if not set(needs) <= there:
            return day - DAY
    return None


def test_runs_of_windows_are_those_of_a_walk_day_by_day():
    """Windows touch, overlap, leave a day out, begin late, never end; severities are kept apart."""
    draw = random.Random(20261130)
    units, windows, expected = [], [], {}
    for number in range(400):
        serial, severity = f"U{number:03}", draw.choice(("mild", "severe"))
        needs = sorted(draw.sample(NEEDS, draw.randrange(4)))
        start, own = START + draw.randrange(5) * DAY, []
        for _ in range(draw.randrange(6)):
            able = draw.sample(NEEDS, draw.randrange(1, 4))
            begin = START + draw.randrange(-10, 20) * DAY
            end = draw.choice((None, *(begin + draw.randrange(20) * DAY for _ in range(5))))
            of = draw.choice((severity, severity, severity, "normal"))
            windows.append((serial, of, sum(ABILITY_BITS[one] for one in able), begin, end))
            own += [(able, begin, end)] if of == severity else []
        units.append((serial, severity, needs, start))
        if needs:
            expected[serial] = walked(needs, start, own)
    schema = {"serial": pl.String, "severity": pl.String, "needs": TEXTS, "start": pl.Date}
    days = {"able": pl.Int64, "from_on": pl.Date, "until_on": pl.Date}
    made = protected_to(
        pl.DataFrame(units, schema=schema, orient="row"),
        pl.DataFrame(windows, schema={**dict(list(schema.items())[:2]), **days}, orient="row"),
    )
    assert dict(made.iter_rows()) == expected
    ends = [end for end in expected.values() if end is not None]
    assert sum(end >= START + 5 * DAY for end in ends) > 30
    assert len(expected) - len(ends) > 10
