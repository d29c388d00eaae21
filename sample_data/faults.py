"""Rows that must be set aside, one kind of mistake at a time.

Belongs here: which mistakes stand in which feed, and the lines that hold them. Does not belong
here: contradictions between sound rows (`quirks`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from sample_data.deliveries import DAY, FILE, ROW
from sample_data.draws import Draws
from sample_data.writing import raw_line

Values = dict[str, str | None]


@dataclass(frozen=True)
class Mistake:
    """One kind of mistake: `wrong` replaces values of a sound row, `of` chooses it."""

    kind: str
    column: str
    rows: int
    wrong: Values = field(default_factory=dict)
    of: pl.Expr | None = None
    line: Callable[[str], str] | None = None  # what happens to the written line


@dataclass(frozen=True)
class PlantedFault:
    """What was planted in one file."""

    file: str
    feed: str
    kind: str
    column: str
    rows: int


_REPAIR = pl.col("kind") == "repair"
_UNCLAIMED = _REPAIR & pl.col("claim").is_null() & pl.col("completed_on").is_not_null()
_CLAIMED = _REPAIR & pl.col("claim").is_not_null()
_INSPECTED = pl.col("kind") == "inspection"

MISTAKES: dict[str, tuple[Mistake, ...]] = {
    "units": (
        Mistake("unknown_model", "model", 5, {"model": "BK-9"}),
        Mistake("missing_value", "model", 2, {"model": None}),
        Mistake("missing_value", "shipped_on", 2, {"shipped_on": None}),
        Mistake("impossible_date", "installed_on", 2, {"installed_on": "2025-02-30"}),
        Mistake("no_region_code", "region", 2, {"region": "Texas"}),
    ),
    "startups": (
        Mistake("missing_value", "serial", 3, {"serial": None}),
        Mistake("impossible_date", "completed_on", 3, {"completed_on": "02/30/2025"}),
        Mistake("unknown_word", "gas", 2, {"gas": "diesel"}),
        Mistake("unknown_word", "level", 2, {"level": "maybe"}),
        Mistake("out_of_range", "water_lines", 1, {"water_lines": "3"}),
    ),
    "water_tests": (
        Mistake("no_site_no_serial", "site", 3, {"site": None, "serial": None}),
        Mistake("unknown_word", "point", 2, {"point": "tank"}),
        Mistake("unreadable_number", "ph", 2, {"ph": "7,4"}),
        Mistake("missing_value", "sampled_on", 2, {"sampled_on": None}),
        Mistake("impossible_date", "sampled_on", 2, {"sampled_on": "2025-06-31"}),
    ),
    "treatment_purchases": (
        Mistake("unknown_product", "product", 4, {"product": "LIMEGATE-XL"}),
        Mistake("out_of_range", "quantity", 2, {"quantity": "0"}),
        Mistake("no_whole_number", "quantity", 2, {"quantity": "1.5"}),
        Mistake("unknown_word", "condition", 2, {"condition": "demo"}),
        Mistake("no_site_no_serial", "site", 2, {"site": None, "serial": None}),
        Mistake("impossible_date", "ordered_on", 2, {"ordered_on": "13/13/2025"}),
    ),
    "service_calls": (
        Mistake("missing_value", "serial", 4, {"serial": None}, _UNCLAIMED),
        Mistake("impossible_date", "completed_on", 4, {"completed_on": "2025-02-30"}, _UNCLAIMED),
        Mistake("unknown_date_format", "opened_on", 2, {"opened_on": "31/04/2024"}, _UNCLAIMED),
        Mistake("ambiguous_thousands", "parts_amount", 4, {"parts_amount": "1,234"}, _UNCLAIMED),
        Mistake("out_of_range", "travel_amount", 2, {"travel_amount": "-45.00"}, _UNCLAIMED),
        Mistake("unreadable_number", "labor_hours", 2, {"labor_hours": "two"}, _UNCLAIMED),
        Mistake("unknown_word", "kind", 3, {"kind": "callback"}, _UNCLAIMED),
        Mistake("claim_on_wrong_kind", "claim", 4, {"claim": "WC-95{n:04d}"}, _INSPECTED),
        Mistake("second_repair_call", "claim", 3, {}, _CLAIMED),
        Mistake("too_few_fields", "", 2, {}, _UNCLAIMED, lambda s: ",".join(s.split(",")[:7])),
        Mistake("too_many_fields", "", 2, {}, _UNCLAIMED, lambda s: s + ",see file, page 2"),
        Mistake("nul_byte", "notes", 1, {"notes": "reset \0 done"}, _UNCLAIMED),
    ),
    "rulings": (Mistake("unknown_word", "ruling", 1, {"ruling": "goodwill"}),),
    "credits": (
        Mistake("impossible_date", "credited_on", 1, {"credited_on": "2025-02-30"}),
        Mistake(
            "no_amount",
            "parts_amount",
            1,
            {"parts_amount": None, "labor_amount": None, "travel_amount": None},
        ),
    ),
}
# The keys of the planted rows: like those of their feed, and no other row's.
_KEYS = {
    "units": ("serial", "X24-9{n:05d}-A"),
    "startups": ("report", "SU-9{n:05d}"),
    "water_tests": ("sample", "W-9{n:05d}"),
    "treatment_purchases": ("order", "TO-9{n:05d}"),
    "service_calls": ("call", "C-9{n:06d}"),
    "rulings": ("ruled_at", "2026-08-{n:02d}T09:15:00"),
    "credits": ("credit", "CR-9{n:04d}"),
}


def plant_faults(
    feed: str, text: pl.DataFrame, seed: int
) -> tuple[dict[str, list[str]], list[PlantedFault]]:
    """The lines to append to each file of a feed, and what they are."""
    draws = Draws(seed, f"faults of {feed}")
    key, pattern = _KEYS[feed]
    # Sound rows in files of their regular turn, as patterns for the wrong ones.
    usual = text.filter(pl.col(DAY) == pl.col(DAY).max().over(ROW))
    lines: dict[str, list[str]] = {}
    planted: list[PlantedFault] = []
    number = 0
    for mistake in MISTAKES[feed]:
        sound = usual if mistake.of is None else usual.filter(mistake.of)
        chosen = np.argsort(draws.uniform(sound.height), kind="stable")[: mistake.rows]
        for row in sound[np.sort(chosen).tolist()].to_dicts():
            number += 1
            wrong = {c: v and v.format(n=number) for c, v in mistake.wrong.items()}
            values = {**row, key: pattern.format(n=number), **_without_notes(row), **wrong}
            file = values[FILE]
            line = raw_line(feed, [values[c] for c in text.columns if c not in (FILE, DAY, ROW)])
            lines.setdefault(file, []).append(mistake.line(line) if mistake.line else line)
            planted.append(PlantedFault(file, feed, mistake.kind, mistake.column, 1))
    return lines, _summed(planted)


def _without_notes(row: Values) -> Values:
    return {"notes": None} if "notes" in row else {}


def _summed(planted: list[PlantedFault]) -> list[PlantedFault]:
    counts: dict[tuple[str, str, str, str], int] = {}
    for fault in planted:
        where = (fault.file, fault.feed, fault.kind, fault.column)
        counts[where] = counts.get(where, 0) + fault.rows
    return [PlantedFault(*where, rows) for where, rows in sorted(counts.items())]
