"""When and of what each unit fails.

Belongs here: the hazards and the stories planted in them. Does not belong here: what is reported,
claimed and paid (`calls`).

Failures of each group of causes come as a Poisson process whose cumulative hazard is that of a
Weibull law, rate x (t / 1 year) ^ shape, multiplied by what the water, the treatment and the family
do to it (minimal repair: a repaired unit is as old as it was). Arrivals of a unit process are put
through the inverse of that hazard, so that no step of it loops over units.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import polars as pl

from sample_data.days import NONE, day
from sample_data.draws import Array, Draws
from sample_data.editions import ABILITIES, FAMILIES, TABLES, reference
from sample_data.installation import Installation
from sample_data.population import AS_OF, Units
from sample_data.treatment import Treatment

TREATED_FACTOR = 0.45  # of the water-caused hazard while treatment works
# Bad waters do not simply add up: where several things are wrong, the hazards of what is wrong
# together make this many failures in the first year.
MIXED_PER_YEAR = 0.54
FAMILY_FACTOR = (0.60, 0.90, 1.15, 1.05)
BATCH_FAMILY, BATCH_QUARTER = "Force", (day("2025-04-01"), day("2025-07-01"))
BATCH_SHARE, BATCH_DAYS = 0.50, 120
COLD_SUPPLY_C, COLD_SHARE = 6.0, 0.55
COME_BACK_AGENCY, COME_BACK_SHARE, COME_BACK_ELSEWHERE = "CORVENDALE", 0.42, 0.02
_MOST_A_GROUP = 5
_YEAR = 365.25


@dataclass(frozen=True)
class Failures:
    """One entry a failure: the unit, the cause as a position in tables/repairs.csv, the day."""

    unit: Array
    cause: Array
    on: Array
    came_back: Array  # whether it follows a repair that did not hold


@cache
def repair_kinds() -> pl.DataFrame:
    """tables/repairs.csv with numbers as floats."""
    frame = pl.read_csv((TABLES / "repairs.csv").read_bytes(), infer_schema=False)
    return frame.with_columns(pl.col("weight", "parts_usd", "hours").cast(pl.Float64))


def draw_failures(
    units: Units, treatment: Treatment, site: Installation, agencies: list[str], seed: int
) -> Failures:
    """Every failure up to the as-of date or the unit's retirement."""
    draws = Draws(seed, "failures")
    last = np.where(units.retired == NONE, AS_OF, units.retired)
    parts = [
        *(_group(row, units, treatment, site, last, draws) for row in _hazards()),
        _batch(units, draws),
        _cold_winters(units, treatment, draws),
    ]
    unit, cause, on = (np.concatenate(arrays) for arrays in zip(*parts, strict=True))
    again = _came_back(units, agencies, unit, on, draws)
    days = draws.whole(6, 55, len(again))
    unit = np.concatenate([unit, unit[again]])
    cause = np.concatenate([cause, cause[again]])
    on = np.concatenate([on, on[again] + days])
    back = np.arange(len(unit)) >= len(unit) - len(again)
    seen = np.flatnonzero(
        (on <= last[unit]) & (on > units.clock[unit]) & (on > units.shipped[unit])
    )
    order = seen[np.lexsort((cause[seen], unit[seen], on[seen]))]
    return Failures(unit[order], cause[order], on[order], back[order])


def _group(
    hazard: dict, units: Units, treatment: Treatment, site: Installation, last: Array, draws: Draws
) -> tuple[Array, Array, Array]:
    """The failures of one group of causes."""
    n, shape, rate = len(units), float(hazard["shape"]), _rate(hazard, units, site)
    relief = np.ones(n)
    if hazard["ability"]:
        able = treatment.removes[:, ABILITIES.index(hazard["ability"])]
        relief = np.where(able, TREATED_FACTOR, 1.0)
    life = np.maximum(last - units.clock, 0)
    start = np.clip(treatment.works_from - units.clock, 0, life)
    stop = np.clip(treatment.works_until - units.clock, start, life)
    grown = [rate * (t / _YEAR) ** shape for t in (start, stop, life)]
    before = grown[0]
    during = before + relief * (grown[1] - grown[0])
    total = during + grown[2] - grown[1]

    arrival = np.cumsum(draws.exponential((_MOST_A_GROUP, n)), axis=0)
    _, unit = hit = np.nonzero(arrival < total)
    at = arrival[hit]
    untreated = np.where(
        at < before[unit],
        at,
        np.where(
            at < during[unit],
            before[unit] + (at - before[unit]) / relief[unit],
            grown[1][unit] + at - during[unit],
        ),
    )
    age = np.floor(_YEAR * (untreated / rate[unit]) ** (1 / shape)).astype(np.int64)
    return unit, _causes(hazard["group"], unit, units, site, draws), units.clock[unit] + age


def _rate(hazard: dict, units: Units, site: Installation) -> Array:
    """Failures in the first year without treatment."""
    rate = np.full(len(units), float(hazard["per_year"]))
    if hazard["ability"]:
        need = units.needs[:, ABILITIES.index(hazard["ability"])]
        rate += need * float(hazard["per_year_in_need"]) * _mixed(units)
    if hazard["group"] == "gas":
        rate *= np.where(site.gas == 2, 1e-9, 1.0) * np.where(site.gas_outside(), 4, 1)
    if hazard["group"] == "installation":
        unsound = site.low_or_high_flow() | site.no_air_gap() | ~site.level
        rate *= np.where(unsound, 5, 1)
    return rate * np.array(FAMILY_FACTOR)[units.family]


def _mixed(units: Units) -> Array:
    """What each hazard in need is multiplied by where a unit's water needs more than one thing."""
    alone = dict.fromkeys(ABILITIES, 0.0)
    alone |= {h["ability"]: float(h["per_year_in_need"]) for h in _hazards() if h["ability"]}
    total = units.needs @ np.array([alone[name] for name in ABILITIES])
    several = (units.needs.sum(axis=1) > 1) & (total > 0)
    return np.where(several, MIXED_PER_YEAR / np.where(several, total, 1.0), 1.0)


def _causes(group: str, unit: Array, units: Units, site: Installation, draws: Draws) -> Array:
    kinds = repair_kinds().with_row_index("position").filter(pl.col("group") == group)
    names, position = kinds["cause"].to_list(), kinds["position"].to_numpy().astype(np.int64)
    cause = draws.pick(kinds["weight"].to_numpy(), len(unit))
    if group == "installation":
        unsound = (site.no_air_gap(), site.low_or_high_flow(), ~site.level)
        known = [names.index(name) for name in ("DRAIN-BACK", "LOW-FLOW", "OUT-OF-LEVEL")]
        cause = np.select([reading[unit] for reading in unsound], known, cause)
    if group == "gas":
        cause = np.where(site.gas_outside()[unit], names.index("FLAME-LIFT"), cause)
    if group == "control":  # a dry tank takes a tank: only `_cold_winters` has many of them
        hand_filled = units.family[unit] == FAMILIES.index("Skerry")
        cause = np.where(hand_filled, names.index("SENSOR"), cause)
    return position[cause]


def _batch(units: Units, draws: Draws) -> tuple[Array, Array, Array]:
    """Control boards of one family that die early in the units of one quarter of entry."""
    low, high = BATCH_QUARTER
    inside = (units.clock >= low) & (units.clock < high)
    inside &= units.family == FAMILIES.index(BATCH_FAMILY)
    unit = np.flatnonzero(inside & draws.chance(BATCH_SHARE, len(units)))
    on = units.clock[unit] + draws.whole(8, BATCH_DAYS, len(unit))
    return unit, np.full(len(unit), _position("BOARD")), on


def _cold_winters(units: Units, treatment: Treatment, draws: Draws) -> tuple[Array, Array, Array]:
    """Membranes that give too little in cold water: tanks run dry from December to February."""
    coldest = reference("regions")["coldest_supply_c"].cast(float).to_numpy()[units.region]
    short = treatment.reverse_osmosis & (coldest <= COLD_SUPPLY_C)
    parts = []
    for year in range(2022, 2026):
        on = draws.whole(day(f"{year}-12-01"), day(f"{year + 1}-02-27"), len(units))
        hit = short & (treatment.works_from < on) & draws.chance(COLD_SHARE, len(units))
        parts.append((np.flatnonzero(hit), on[hit]))
    unit, on = (np.concatenate(arrays) for arrays in zip(*parts, strict=True))
    return unit, np.full(len(unit), _position("TANK-DRY")), on


def _came_back(units: Units, agencies: list[str], unit: Array, on: Array, draws: Draws) -> Array:
    """The failures whose repair does not hold."""
    bad = units.agency[unit] == agencies.index(COME_BACK_AGENCY)
    share = np.where(bad, COME_BACK_SHARE, COME_BACK_ELSEWHERE)
    return np.flatnonzero(draws.chance(share, len(unit)))


def _position(cause: str) -> int:
    return repair_kinds()["cause"].to_list().index(cause)


@cache
def _hazards() -> list[dict]:
    return pl.read_csv((TABLES / "hazards.csv").read_bytes(), infer_schema=False).to_dicts()
