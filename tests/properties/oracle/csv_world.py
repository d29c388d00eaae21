"""A clean workspace folder read into a world with the standard library alone.

Belongs here: what the worked claims need: ISO dates, plain numbers, every file named for its feed.
Does not belong here: any fault that a file may have.
"""

from __future__ import annotations

import csv
import re
import tomllib
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

from tests.properties.oracle.world import FEEDS, Row, World

ANALYTES = (
    "ph",
    "tds_mg_l",
    "conductivity_us_cm",
    "hardness_mg_l_caco3",
    "calcium_mg_l_caco3",
    "alkalinity_mg_l_caco3",
    "free_chlorine_mg_l",
    "total_chlorine_mg_l",
    "chloride_mg_l",
    "sulfate_mg_l",
    "silica_mg_l",
    "iron_mg_l",
    "sediment_um",
)
YES_NO = {
    "level",
    "under_hood",
    "sample_taken",
    "needs_treatment",
    "always_treat",
    "water_related",
    "excluded",
}
WHOLE = {"quantity", "water_lines", "cavities"}
LISTS = {"removes", "abilities"}
ENDINGS = ("_amount", "_hours", "_rate", "_cap", "_allowed", "_psi", "_f", "_wc", "_in", "_c", "_h")
NUMBERS = {*ANALYTES, "capacity_l"}
SEEN_BY = {
    "units": ("shipped_on",),
    "startups": ("requested_on", "completed_on"),
    "water_tests": ("reported_on", "sampled_on"),
    "treatment_purchases": ("ordered_on",),
    "service_calls": ("opened_on",),
    "rulings": ("ruled_at",),
}


def read_world(folder: Path, as_of: date) -> World:
    """The world of a workspace folder."""
    records: dict[str, list[Row]] = {}
    through: dict[str, date | None] = {}
    for feed in FEEDS:
        exports = folder / "exports"
        paths = sorted([*exports.glob(f"{feed}*.csv"), *exports.glob(f"{feed}/*.csv")])
        records[feed] = [row for path in paths for row in read_rows(path)]
        dates = [
            date.fromisoformat(found)
            for path in paths
            for found in re.findall(r"\d{4}-\d\d-\d\d", path.name)
        ]
        seen = [first_day(row, SEEN_BY[feed]) for row in records[feed]]
        through[feed] = max([day for day in dates or seen if day is not None], default=None)
    return World(
        records=records,
        reference={path.stem: read_rows(path) for path in (folder / "reference").glob("*.csv")},
        editions=[
            tomllib.loads(path.read_text("utf-8"), parse_float=Decimal)
            for path in sorted((folder / "terms").glob("*.toml"))
        ],
        through=through,
        as_of=as_of,
    )


def first_day(row: Row, columns: tuple[str, ...]) -> date | None:
    """The first of the days that the row has."""
    value = next((row[name] for name in columns if row[name] is not None), None)
    return value.date() if isinstance(value, datetime) else value


def read_rows(path: Path) -> list[Row]:
    """The rows of one file, each value in the type of its column."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = [
            {name: read_value(name, text.strip()) for name, text in row.items()}
            for row in csv.DictReader(file)
        ]
    for row in rows:
        for analyte in set(ANALYTES) & set(row):
            value = row[analyte]
            non_detect = isinstance(value, str)
            row[f"{analyte}_below"] = Decimal(value.removeprefix("<")) if non_detect else None
            row[analyte] = None if non_detect else value
    return rows


def read_value(name: str, text: str) -> object:
    """One value; a non-detect stays text."""
    if name in LISTS:
        return sorted(text.split())
    if text == "":
        return None
    if name in YES_NO:
        return text == "yes"
    if name == "ruled_at":
        return datetime.fromisoformat(text)
    if name.endswith(("_on", "_from", "_until")):
        return date.fromisoformat(text)
    if name in WHOLE:
        return int(text)
    if (name in NUMBERS or name.endswith(ENDINGS)) and not text.startswith("<"):
        return Decimal(text)
    return text
