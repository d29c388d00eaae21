"""Service calls that are no repairs: installations, cartridge changes, deliming, inspections.

Belongs here: what the service desk logged of them. Does not belong here: repairs (`calls`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_data.days import NONE, add_months
from sample_data.draws import Array, Draws
from sample_data.editions import FAMILIES, editions
from sample_data.population import AS_OF, Units
from sample_data.treatment import Treatment

KINDS = ("repair", "treatment_install", "cartridge_change", "delime", "inspection")
REPAIR, INSTALL, CHANGE, DELIME, INSPECTION = range(5)
OWNER_LOGS_SHARE, TECHNICIAN_KEEPS_SHARE = 0.52, 0.62
_MOST_DELIMES = 12


@dataclass(frozen=True)
class Upkeep:
    """One entry a call: its kind as a position in KINDS, the day it was done, who did it."""

    unit: Array
    kind: Array
    on: Array
    product: Array  # position in treatments.csv, or NONE
    by_owner: Array


def draw_upkeep(
    units: Units, treatment: Treatment, seed: int, inspections_per_unit: float
) -> Upkeep:
    """Every call that was logged up to the as-of date."""
    draws = Draws(seed, "upkeep")
    parts = [
        _installs(treatment, draws),
        _changes(treatment, draws),
        _delimes(units, draws),
        _inspections(units, inspections_per_unit, draws),
    ]
    unit, kind, on, product, by_owner = (
        np.concatenate(arrays) for arrays in zip(*parts, strict=True)
    )
    kept = (on <= AS_OF) & (on > units.shipped[unit])
    return Upkeep(unit[kept], kind[kept], on[kept], product[kept], by_owner[kept])


def _installs(treatment: Treatment, draws: Draws) -> tuple[Array, ...]:
    n = len(treatment.system_unit)
    logged = (treatment.system_installed != NONE) & draws.chance(0.88, n)
    return _calls(
        treatment.system_unit[logged],
        INSTALL,
        treatment.system_installed[logged],
        treatment.system_product[logged],
    )


def _changes(treatment: Treatment, draws: Draws) -> tuple[Array, ...]:
    done = treatment.cartridge_number == 0
    unit, of = treatment.cartridge_unit[done], treatment.cartridge_system[done]
    product, on = treatment.system_product[of], treatment.cartridge_on[done]
    return _calls(unit, CHANGE, on, product, draws.chance(0.5, len(unit)))


def _delimes(units: Units, draws: Draws) -> tuple[Array, ...]:
    """Owners' deliming where a log was sent in, technicians' deliming until it was given up."""
    n = len(units)
    force, linn = (units.family == FAMILIES.index(name) for name in ("Force", "Linn"))
    logged = (force & draws.chance(OWNER_LOGS_SHARE, n)) | linn
    keeps = draws.chance(TECHNICIAN_KEEPS_SHARE, n)
    times = np.where(keeps, _MOST_DELIMES, draws.whole(0, 2, n))
    by_owner = force | draws.chance(0.06, n)
    chosen = np.flatnonzero(logged)
    months = editions().delime_months[units.edition, units.family][chosen]
    turn = np.arange(1, _MOST_DELIMES + 1)[:, None]
    clock = np.broadcast_to(units.clock[chosen], (_MOST_DELIMES, len(chosen)))
    on = add_months(clock, turn * months) - draws.whole(0, 8, clock.shape)
    retired = np.where(units.retired[chosen] == NONE, AS_OF, units.retired[chosen])
    row, column = np.nonzero((turn <= times[chosen]) & (on <= retired))
    return _calls(chosen[column], DELIME, on[row, column], None, by_owner[chosen[column]])


def _inspections(units: Units, per_unit: float, draws: Draws) -> tuple[Array, ...]:
    count = round(per_unit * len(units))
    unit = draws.whole(0, len(units) - 1, count)
    life = np.maximum(AS_OF - units.clock[unit], 0)
    on = units.clock[unit] + np.floor(life * draws.uniform(count)).astype(np.int64)
    return _calls(unit, INSPECTION, on)


def _calls(
    unit: Array,
    kind: int,
    on: Array,
    product: Array | None = None,
    by_owner: Array | None = None,
) -> tuple[Array, ...]:
    n = len(unit)
    none = np.full(n, NONE)
    owner = np.zeros(n, dtype=bool) if by_owner is None else by_owner
    return unit, np.full(n, kind), on, none if product is None else product, owner
