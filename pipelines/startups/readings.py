"""The readings of a start-up report: what each is called, its unit, what mends it, its caution.

Belongs here: words and cautions, one entry a reading. Does not belong here: limits (the terms) and
what a report comes to (`installation_findings`).

What is called for is common practice, no source; the maker's manual and the local code go first.
"""

from __future__ import annotations

from typing import NamedTuple

import polars as pl

from pipelines.letters.cautions import HAZARDS
from pipelines.water.advice_parts import PLUMBING_CAUTION

GAS_CAUTION = HAZARDS["gas"][2]
ELECTRICITY_CAUTION = HAZARDS["electricity"][2]


class Reading(NamedTuple):
    """How a reading is called in a sentence, the unit of its column, what mends it, its caution."""

    words: str
    unit: str | None
    mend: str
    caution: str | None


READINGS = {
    "flowing_pressure_psi": Reading(
        "flowing water pressure",
        "psi",
        "have a licensed plumber bring the pressure within the limits while water flows, by a "
        "regulator or a larger line",
        PLUMBING_CAUTION,
    ),
    "static_pressure_psi": Reading(
        "static water pressure",
        "psi",
        "have a licensed plumber bring the pressure within the limits",
        PLUMBING_CAUTION,
    ),
    "supply_temperature_f": Reading(
        "supply temperature",
        "F",
        "have a licensed plumber connect the supply that the manual asks for",
        PLUMBING_CAUTION,
    ),
    "gas": Reading("gas", None, "report which gas the unit burns", GAS_CAUTION),
    "gas_pressure_in_wc": Reading(
        "gas pressure",
        "in wc",
        "have licensed gas fitters set the pressure while all burners run",
        GAS_CAUTION,
    ),
    "drain_air_gap_in": Reading(
        "drain air gap",
        "in",
        "have a licensed plumber give the drain an open air gap",
        PLUMBING_CAUTION,
    ),
    "side_clearance_in": Reading(
        "side clearance",
        "in",
        "move what stands beside the controls, or the unit",
        ELECTRICITY_CAUTION,
    ),
    "level": Reading("standing level", None, "level the unit front to back and side to side", None),
    "under_hood": Reading(
        "standing under a hood",
        None,
        "have the ventilation made as the local code asks, before the unit is used",
        GAS_CAUTION,
    ),
    "water_lines": Reading(
        "number of water lines",
        None,
        "have a licensed plumber run a second line, so that the spray stays untreated and cold",
        PLUMBING_CAUTION,
    ),
    "sample_taken": Reading("water sample taken", None, "take a sample of the supply", None),
}
_WORDS = {name: reading.words for name, reading in READINGS.items()}


def reading_words(column: str) -> pl.Expr:
    """The words of a column of readings joined by `; `, joined in the same way."""
    names = pl.col(column).str.split("; ")
    return names.list.eval(pl.element().replace_strict(_WORDS)).list.join("; ")
