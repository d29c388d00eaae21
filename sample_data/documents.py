"""The register, the start-up reports, the water tests and the treatment orders.

Belongs here: what was written down about units that work, one frame a feed, with the feed's own
column names; dates are dates, everything else is text. Does not belong here: service calls and
rulings (`calls`), files (`deliveries`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from sample_data.columns import measured, numbered, serials, where, words
from sample_data.days import NONE, first_known, known_by, to_dates
from sample_data.draws import Array, Draws
from sample_data.editions import editions, reference, waters
from sample_data.installation import GASES, Installation, supply_c
from sample_data.population import AS_OF, Sites, Units
from sample_data.treatment import GOOD, OTHER_SELLER, USED, Treatment, cartridge_of

# fmt: off
_PLACES = (
    "Aldermoor", "Birchgate", "Cinderhill", "Dovestone", "Elmsworth", "Farrowdale", "Glenmarrow",
    "Hazelcombe", "Inglemere", "Junipertop", "Kestrelby", "Larchwood", "Millrace", "Northmoor",
    "Oakhollow", "Pinefold", "Quarrydale", "Rowanbank", "Sallowfield", "Tidewater", "Umberlea",
    "Violetstone", "Willowgate", "Yewbarrow",
)
_KINDS = (
    "Elementary School", "High School", "Care Home", "Hospital Kitchen", "Hotel", "Canteen",
    "College Hall", "Day Nursery", "Conference Center", "Retirement Village", "Noodle House",
    "Seafood Grill",
)
# fmt: on
_STARTUP_NOTES = (
    "drain piped to floor sink, air gap checked",
    'kitchen staff shown the "empty at night" routine',
    "supply at 140 °F; told the site to connect cold water",
    "café counter unit; hood fan to be serviced by others",
    "regulator fitted; pressure was above the limit",
    "no treatment found; maker's test kit left with the manager",
)


@dataclass(frozen=True)
class Startups:
    """One entry a unit; NONE where a day is not known, `reported` False without a report."""

    reported: Array
    requested: Array
    completed: Array
    earned: Array


def register(units: Units, serial: pl.Series) -> pl.DataFrame:
    """The feed units."""
    kind = (units.site * 7 + units.site // 24) % len(_KINDS)
    name = words(units.site % len(_PLACES), _PLACES) + " " + words(kind, _KINDS)
    return pl.DataFrame(
        {
            "serial": serial,
            "model": words(units.model, reference("models")["model"].to_list()),
            "shipped_on": to_dates("", units.shipped),
            "purchased_on": to_dates("", units.purchased),
            "installed_on": to_dates("", units.installed),
            "site": numbered("K-", units.site),
            "site_name": name,
            "region": words(units.region, waters()["region"].to_list()),
            "postal_code": numbered("000", units.region + 10, 2),  # 000xx is not in use
            "retired_on": to_dates("", units.retired),
            "replaces": pl.Series([None], dtype=pl.String).new_from_index(0, len(units)),
        }
    )


def draw_startups(units: Units, seed: int) -> Startups:
    """When each unit's start-up was asked for and completed, and whether it earned the bonus."""
    draws, n = Draws(seed, "startups"), len(units)
    bought = first_known(units.purchased, units.shipped)
    kind = draws.pick([0.79, 0.11, 0.10], n)  # asked for in time, late, not told when
    requested = bought + np.where(kind == 1, draws.whole(34, 150, n), draws.whole(-3, 27, n))
    requested = np.maximum(requested, units.shipped)
    completed = np.maximum(np.maximum(units.clock, requested), units.shipped) + draws.lag(1, 12, n)
    completed = np.where(draws.chance(0.06, n), NONE, completed)
    requested = np.where(kind == 2, NONE, requested)
    requested, completed = known_by(requested, AS_OF), known_by(completed, AS_OF)
    reported = ~draws.chance(0.10, n) & ((requested != NONE) | (completed != NONE))
    window = editions().request_within_days[units.edition, units.family]
    asked = first_known(requested, completed)
    in_time = asked - first_known(units.purchased, units.clock) <= window
    return Startups(reported, requested, completed, reported & in_time & (completed != NONE))


def startup_reports(
    units: Units,
    serial: pl.Series,
    startups: Startups,
    site: Installation,
    sites: Sites,
    treatment: Treatment,
    agencies: list[str],
    seed: int,
) -> pl.DataFrame:
    """The feed startups."""
    draws = Draws(seed, "startup reports")
    row = np.flatnonzero(startups.reported)
    asked = first_known(startups.requested[row], startups.completed[row])
    row = row[np.lexsort((row, asked))]
    n = len(row)
    done = startups.completed[row] != NONE
    product, fitted = _found(units, treatment, startups, draws)

    def seen(values: Array) -> Array:
        return np.where(done & ~draws.chance(0.04, n), values[row], np.nan)

    def yes_no(values: Array) -> pl.Series:
        return where(done & ~draws.chance(0.04, n), words(values[row] * 1, ["no", "yes"]))

    temperature = supply_c(sites, units.site, np.maximum(startups.completed, 0)) * 1.8 + 32
    temperature = np.maximum(temperature + 2 * draws.normal(len(units)), 34)
    return pl.DataFrame(
        {
            "report": numbered("SU-", np.arange(1, n + 1)),
            "serial": serial.gather(row),
            "requested_on": to_dates("", startups.requested[row]),
            "completed_on": to_dates("", startups.completed[row]),
            "agency": words(units.agency[row], agencies),
            "flowing_pressure_psi": measured(seen(site.flowing_psi), 0),
            "static_pressure_psi": measured(seen(site.static_psi), 0),
            "supply_temperature_f": measured(seen(temperature), 0),
            "gas": where(done, words(site.gas[row], GASES)),
            "gas_pressure_in_wc": measured(seen(site.gas_in_wc), 1),
            "drain_air_gap_in": measured(seen(site.drain_gap_in), 1),
            "side_clearance_in": measured(seen(site.side_in), 0),
            "level": yes_no(site.level),
            "under_hood": yes_no(site.under_hood),
            "water_lines": measured(seen(site.water_lines.astype(float)), 0),
            "sample_taken": yes_no(draws.chance(0.7, len(units))),
            "treatment_product": where(done, product.gather(row)),
            "treatment_installed_on": to_dates("", np.where(done, fitted[row], NONE)),
            "notes": words(
                np.where(draws.chance(0.12, n), draws.whole(0, len(_STARTUP_NOTES) - 1, n), NONE),
                _STARTUP_NOTES,
            ),
        }
    )


def _found(
    units: Units, treatment: Treatment, startups: Startups, draws: Draws
) -> tuple[pl.Series, Array]:
    """Per unit the treatment that the start-up found, and since when."""
    product, fitted = np.full(len(units), NONE), np.full(len(units), NONE)
    unit, day = treatment.system_unit, treatment.system_installed
    found = (day != NONE) & (day <= startups.completed[unit]) & draws.chance(0.5, len(unit))
    product[unit[found]] = treatment.system_product[found]
    fitted[unit[found]] = day[found]
    return words(product, reference("treatments")["product"].to_list()), fitted


def treatment_orders(
    units: Units, serial: pl.Series, treatment: Treatment, seed: int
) -> pl.DataFrame:
    """The feed treatment_purchases: an order for all that a unit is sold on one day."""
    draws = Draws(seed, "orders")
    bought = np.flatnonzero(treatment.cartridge_number > 0)
    of = treatment.cartridge_system[bought]
    unit = np.concatenate([treatment.system_unit, treatment.cartridge_unit[bought]])
    product = np.concatenate(
        [treatment.system_product, cartridge_of()[treatment.system_product[of]]]
    )
    day = np.concatenate([treatment.system_ordered, treatment.cartridge_on[bought]])
    number = np.concatenate(
        [np.ones_like(treatment.system_unit), treatment.cartridge_number[bought]]
    )
    fault = np.concatenate([treatment.system_fault, np.full(len(bought), GOOD)])
    n = len(unit)
    parts_shop = (units.edition[unit] == 2) & draws.chance(0.2, n)
    seller = np.where(fault == OTHER_SELLER, 1, np.where(parts_shop, 2, 0))
    condition = np.where(fault == USED, 1 + draws.whole(0, 1, n), 0)
    alone = np.bincount(units.site)[units.site[unit]] == 1
    by_site = alone & (unit % 5 == 0)
    order = np.lexsort((product, unit, day))
    first = np.ones(n, dtype=bool)
    first[1:] = (np.diff(unit[order]) != 0) | (np.diff(day[order]) != 0)
    which = np.cumsum(first)
    line = np.arange(n) - np.flatnonzero(first)[which - 1] + 1
    unit, by_site = unit[order], by_site[order]
    return pl.DataFrame(
        {
            "order": numbered("TO-", which),
            "line": pl.Series(line).cast(pl.String),
            "ordered_on": to_dates("", day[order]),
            "product": words(product[order], reference("treatments")["product"].to_list()),
            "quantity": pl.Series(number[order]).cast(pl.String),
            "condition": words(condition[order], ["new", "used", "refurbished"]),
            "seller": words(seller[order], ["TARNFELL", "HALEMERE SUPPLY", "TARNFELL-PARTS"]),
            "site": where(by_site, numbered("K-", units.site[unit])),
            "serial": where(~by_site, serial.gather(unit)),
        }
    )


def unit_serials(units: Units) -> pl.Series:
    """The serial of each unit, as the register writes it."""
    return serials(units.family, units.shipped)
