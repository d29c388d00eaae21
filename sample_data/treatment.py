"""Which treatment each unit was given, when, and for how long it was kept up.

Belongs here: what was really bought, fitted and serviced. Does not belong here: which of that was
written down (`documents`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_data.days import NONE, add_months
from sample_data.draws import Array, Draws
from sample_data.editions import ABILITIES, FAMILIES, editions, reference
from sample_data.population import AS_OF, Units

NEVER = 10**6  # a day that does not come
GOOD, USED, OTHER_SELLER, TOO_LITTLE = range(4)
_MOST_CYCLES = 17


@dataclass(frozen=True)
class Treatment:
    """Per unit what works when; per system and per cartridge what was bought and done.

    `removes` is one column an ability; a unit without treatment has `works_from` NEVER. Products
    are positions in treatments.csv.
    """

    removes: Array
    works_from: Array
    works_until: Array
    reverse_osmosis: Array
    system_unit: Array
    system_product: Array
    system_fault: Array  # GOOD, USED, OTHER_SELLER or TOO_LITTLE
    system_ordered: Array
    system_installed: Array
    cartridge_unit: Array
    cartridge_system: Array  # position in the arrays above
    cartridge_on: Array
    cartridge_number: Array  # bought at once; 0 for a change that a call records


def draw_treatment(units: Units, seed: int) -> Treatment:
    """Treatment for most of the units that need it, kept up by about two in three."""
    draws, n = Draws(seed, "treatment"), len(units)
    force, skerry = FAMILIES.index("Force"), FAMILIES.index("Skerry")
    wanted = (units.needs.any(axis=1) | (units.family == force)) & (units.family != skerry)
    # All of what is needed, used goods, another seller, too little, nothing.
    kind = draws.pick([0.62, 0.04, 0.04, 0.05, 0.25], n)
    slots = _choice(units, kind == TOO_LITTLE, draws)
    given = wanted & (kind < 4)
    late = draws.chance(0.22, n)
    fitted = units.clock + np.where(late, draws.whole(150, 600, n), draws.whole(12, 70, n))
    ordered = fitted - draws.whole(4, 25, n)
    given &= (ordered <= AS_OF) & (ordered > units.shipped)

    slot, unit = np.nonzero((slots != NONE) & given)
    product = slots[slot, unit]
    removes = np.zeros((n, len(ABILITIES)), dtype=bool)
    # Used and foreign goods do not work in this sample, so that the planted effect is that of
    # treatment as the terms ask for it.
    works = (kind == GOOD) | (kind == TOO_LITTLE)
    for ability, column in zip(ABILITIES, removes.T, strict=True):
        hits = _able(ability)[product]
        column[unit[hits]] = True
    removes &= works[:, None]

    months = editions().cartridge_months[units.edition, units.family, units.severity]
    kept = draws.chance(0.68, n)
    cycles = np.where(kept, _MOST_CYCLES, draws.whole(0, 3, n))
    cartridge_unit, of, on, number = _cartridges(unit, product, fitted, months, cycles, draws)
    lapsed = add_months(fitted, months * (cycles + 1)) + 30
    needs_none = ~_has_cartridge()[product]
    only_salt = np.bincount(unit[needs_none], minlength=n) == np.bincount(unit, minlength=n)
    return Treatment(
        removes=removes,
        works_from=np.where(given & works, fitted, NEVER),
        works_until=np.where(kept | only_salt, NEVER, lapsed),
        reverse_osmosis=np.bincount(unit[_able("tds")[product]], minlength=n) > 0,
        system_unit=unit,
        system_product=product,
        system_fault=kind[unit],
        system_ordered=ordered[unit],
        system_installed=np.where(fitted[unit] > AS_OF, NONE, fitted[unit]),
        cartridge_unit=cartridge_unit,
        cartridge_system=of,
        cartridge_on=on,
        cartridge_number=number,
    )


def _choice(units: Units, too_little: Array, draws: Draws) -> Array:
    """Products in three slots (membrane or softener, filter, neutralizer), NONE where empty."""
    products, n = reference("treatments")["product"].to_list(), len(units)
    need = dict(zip(ABILITIES, units.needs.T, strict=True))
    always = units.family == FAMILIES.index("Force")
    membrane = need["tds"] | need["chloride"] | need["silica"]
    feed = reference("models")["feed_l_per_h"].cast(float).to_numpy()[units.model]
    osmosis = np.where(feed > 30, products.index("OSMO-60"), products.index("OSMO-25"))
    salt = draws.chance(0.3, n)
    softener = np.where(salt, products.index("SOFTEN-20"), products.index("LIMEGATE"))
    soften = ~membrane & (need["scale"] | (always & ~units.needs.any(axis=1)))
    main = np.where(membrane, osmosis, np.where(soften, softener, NONE))

    # A membrane is often taken for an answer to chloramine too, which it is not.
    trusted = membrane & draws.chance(0.55, n)
    chloramine = need["chloramine"] & ~trusted
    carbon = need["chlorine"] & ~membrane
    sieve = need["sediment"] & ~membrane
    names = [products.index(name) for name in ("CARBON-X", "CARBON-1", "SIEVE-5")]
    second = np.select([chloramine, carbon, sieve], names, NONE)
    third = np.where(need["ph"], products.index("EVENPH"), NONE)

    # Too little: the filter head alone where more was called for.
    single = too_little & (units.needs.sum(axis=1) > 1)
    main = np.where(single, products.index("LIMEGATE"), main)
    second, third = np.where(single, NONE, second), np.where(single, NONE, third)
    return np.stack([main, second, third])


def _cartridges(
    unit: Array, product: Array, fitted: Array, months: Array, cycles: Array, draws: Draws
) -> tuple[Array, Array, Array, Array]:
    """Cartridge orders and changes of every system that takes cartridges, up to the as-of date."""
    takes = np.flatnonzero(_has_cartridge()[product])
    owner = unit[takes]
    bought = draws.chance(0.55, len(fitted))[owner]
    number = draws.whole(1, 3, len(fitted))[owner]
    cycle = np.arange(1, _MOST_CYCLES + 1)[:, None]
    due = add_months(
        np.broadcast_to(fitted[owner], (len(cycle), len(owner))), cycle * months[owner]
    )
    on = due - draws.whole(0, 12, due.shape)
    whole = (cycle - 1) % number == 0  # several at once last for as many cycles
    done = (cycle <= cycles[owner]) & (on <= AS_OF) & (whole | ~bought)
    row, system = np.nonzero(done)
    left = np.minimum(number[system], cycles[owner][system] - row)
    return owner[system], takes[system], on[row, system], np.where(bought[system], left, 0)


def _able(ability: str) -> Array:
    """For each product whether it is a system with this ability."""
    return np.array([ability in (r or "").split() for r in reference("treatments")["removes"]])


def _has_cartridge() -> Array:
    """For each product whether a cartridge fits it."""
    table = reference("treatments")
    fits = set(table["fits"].drop_nulls())
    return np.array([name in fits for name in table["product"]])


def cartridge_of() -> Array:
    """For each system the position of its cartridge in treatments.csv, NONE where it has none."""
    table = reference("treatments")
    names, fits = table["product"].to_list(), table["fits"].to_list()
    return np.array([fits.index(name) if name in fits else NONE for name in names])
