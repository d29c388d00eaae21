"""A little world of records as plain rows, and what of it is known on its as-of date.

Belongs here: the shape of a world, the as-of date, and editions merged for a family. Does not
belong here: what follows for a claim (`oracle`), and frames of it (`frames`).

A record is a dict with the columns of its feed: text, `date`, `datetime`, `Decimal`, `int`, `bool`
or None. A water test has `<analyte>_below` for a non-detect. Written from the contract alone; it
shares no code with the pipelines.
"""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass, replace
from datetime import date, datetime

Row = dict
FEEDS = ("units", "startups", "water_tests", "treatment_purchases", "service_calls", "rulings")


@dataclass(frozen=True)
class World:
    """Records a feed, rows a reference file, editions as the tables of their TOML files."""

    records: dict[str, list[Row]]
    reference: dict[str, list[Row]]
    editions: list[dict]
    through: dict[str, date | None]
    as_of: date


def as_known(world: World) -> World:
    """The world as it was known on its as-of date."""
    records = {feed: [] for feed in FEEDS}
    for feed in FEEDS:
        for row in world.records[feed]:
            if is_seen(feed, row, world.as_of):
                # A later date inside a seen row counts as not yet known.
                records[feed].append(
                    {
                        column: None if is_later(value, world.as_of) else value
                        for column, value in row.items()
                    }
                )
    # A feed's through date is never later than the as-of date.
    through = {
        feed: min(day, world.as_of) if day is not None else None
        for feed, day in world.through.items()
    }
    return replace(world, records=records, through=through)


def is_later(value: object, as_of: date) -> bool:
    """Whether the value is a day (not a moment) after the as-of date."""
    return isinstance(value, date) and not isinstance(value, datetime) and value > as_of


def is_seen(feed: str, row: Row, as_of: date) -> bool:
    """Whether a row is seen on the as-of date."""
    if feed == "units":
        day = row["shipped_on"]
    elif feed == "startups":
        day = row["requested_on"] if row["requested_on"] is not None else row["completed_on"]
        if day is None:
            return True  # A start-up report with neither date is seen.
    elif feed == "water_tests":
        day = row["reported_on"] if row["reported_on"] is not None else row["sampled_on"]
    elif feed == "treatment_purchases":
        day = row["ordered_on"]
    elif feed == "service_calls":
        day = row["opened_on"]
    else:
        day = row["ruled_at"].date()
    return day <= as_of


def merged(edition: dict, family: str) -> dict:
    """The edition as it holds for a family: tables merge key by key, lists and values replace."""
    base = deepcopy({key: value for key, value in edition.items() if key != "family"})
    lay_over(base, edition.get("family", {}).get(family, {}))
    return base


def lay_over(base: dict, own: dict) -> None:
    """Lays the tables of `own` over those of `base`, in place."""
    for key, value in own.items():
        if isinstance(value, dict) and isinstance(base.get(key), dict):
            lay_over(base[key], value)
        else:
            base[key] = deepcopy(value)
