"""Service calls and claims: how failures are reported, repaired, claimed and billed.

Belongs here: the feed service_calls. Does not belong here: what fails and when (`failures`), calls
that are no repairs (`upkeep`), rulings on claims (`rulings`).
"""

from __future__ import annotations

import numpy as np
import polars as pl

from sample_data.columns import decimals, money, numbered, where, words
from sample_data.days import NONE, add_months, day, known_by, to_dates
from sample_data.documents import Startups
from sample_data.draws import Array, Draws
from sample_data.editions import editions, reference, waters
from sample_data.failures import COME_BACK_AGENCY, Failures, repair_kinds
from sample_data.population import AS_OF, Units
from sample_data.treatment import Treatment
from sample_data.upkeep import KINDS, REPAIR, Upkeep

SEEN_AFTER_COVER = 0.22  # failures past coverage are seldom reported
CLAIMED_AFTER_COVER = 0.30
LONG_HOURS_AGENCY, LONG_HOURS_FACTOR = "LANTHORNE", 1.4
NOT_AUTHORIZED = "INDEPENDENT-7"
_REPAIR_NOTES = (
    "customer says it steams, but slowly",
    "replaced, tested two cycles, ok",
    "found white crust in the tank; water at site is hard\nfilter head not in use",
    'display read "LOW WATER" over and over, reset did not help',
    "unit used 14 h a day, 7 days; staff cleans nightly",
    "gasket torn at the lower corner",
    "gas turned off by the local gas fitter, relit after repair",
    "=see photo, +2 more on the phone",
    "site asks for <b>callback</b> & a quote",
    "drain was blocked with rice; told the kitchen",
    "second visit, part was on back order",
)
_UPKEEP_NOTES = ("done as planned", "log sheet left at the unit", "owner present", "ok, no leaks")


def service_calls(
    units: Units,
    serial: pl.Series,
    startups: Startups,
    failures: Failures,
    treatment: Treatment,
    upkeep: Upkeep,
    agencies: list[str],
    claim_share: float,
    seed: int,
) -> pl.DataFrame:
    """The feed service_calls: all calls opened by the as-of date, in that order.

    Dates are dates, everything else is text; `cause_known_on` beside the feed's columns is the day
    from which the desk knew the cause.
    """
    draws = Draws(seed, "calls")
    repairs = _reported(units, startups, failures, draws)
    failed, cause = failures.on[repairs], failures.cause[repairs]
    covered = failed < coverage_end(units, startups)[failures.unit[repairs]]
    n, more = len(repairs), len(upkeep.unit)
    opened = failed + draws.lag(0, 2.2, n)
    failed = np.where(draws.chance(0.07, n), NONE, failed)
    done = opened + draws.lag(0, 6, n)
    # Since 2026 claims are filed on line, and more of them are.
    share = np.where(opened >= day("2026-01-01"), 1.3, 1.0) * claim_share
    # Little is claimed for misuse, and for what water did where nobody treated it.
    untreated = treatment.works_from[failures.unit[repairs]] > failed
    hopeless = (_said("water_related")[cause] & untreated) | _said("excluded")[cause]
    share = np.where(hopeless, 0.6, 1.0) * share
    claims = draws.chance(np.where(covered, share, CLAIMED_AFTER_COVER), n)
    at_once = draws.chance(0.16, n)
    late = draws.chance(0.035, n)
    filed = done + draws.lag(1, 15, n) + np.where(late, draws.whole(45, 110, n), 0)
    filed = np.where(at_once, opened + draws.whole(0, 2, n), filed)

    unit = np.concatenate([failures.unit[repairs], upkeep.unit])
    kind = np.concatenate([np.full(n, REPAIR), upkeep.kind])
    opened = np.concatenate([opened, upkeep.on - draws.lag(0, 2, more)])
    opened = np.maximum(opened, units.shipped[unit])
    failed, filed, product = _padded(failed, more), _padded(filed, more), _before(upkeep.product, n)
    done = np.concatenate([done, upkeep.on])
    cause, claims = _padded(cause, more), np.concatenate([claims, np.zeros(more, dtype=bool)])
    by_owner = np.concatenate([np.zeros(n, dtype=bool), upkeep.by_owner])
    at_once = np.concatenate([at_once, np.zeros(more, dtype=bool)])

    seen = np.flatnonzero(opened <= AS_OF)
    order = seen[np.lexsort((kind[seen], unit[seen], opened[seen]))]
    columns = (unit, kind, opened, failed, done, filed, cause, product, claims, by_owner, at_once)
    arrays = [column[order] for column in columns]
    return _frame(units, serial, agencies, draws, *arrays)


def _said(column: str) -> Array:
    """For each row of tables/repairs.csv whether causes.csv says yes in this column."""
    causes = reference("causes").select("cause", column)
    joined = repair_kinds().join(causes, on="cause", how="left", maintain_order="left")
    return (joined[column] == "yes").to_numpy()


def coverage_end(units: Units, startups: Startups) -> Array:
    """The end of each unit's longest coverage window."""
    terms, at = editions(), (units.edition, units.family)
    months = np.maximum(terms.parts_months[at], terms.labor_months[at])
    return add_months(units.clock, months + startups.earned * terms.bonus_months[at])


def _reported(units: Units, startups: Startups, failures: Failures, draws: Draws) -> Array:
    inside = failures.on < coverage_end(units, startups)[failures.unit]
    # Of two failures of one cause in a week the desk makes one call.
    order = np.lexsort((failures.on, failures.cause, failures.unit))
    unit, cause, on = (x[order] for x in (failures.unit, failures.cause, failures.on))
    twin = np.zeros(len(on), dtype=bool)
    twin[order[1:]] = (np.diff(unit) == 0) & (np.diff(cause) == 0) & (np.diff(on) < 5)
    return np.flatnonzero((inside | draws.chance(SEEN_AFTER_COVER, len(on))) & ~twin)


def _frame(
    units: Units,
    serial: pl.Series,
    agencies: list[str],
    draws: Draws,
    unit: Array,
    kind: Array,
    opened: Array,
    failed: Array,
    done: Array,
    filed: Array,
    cause: Array,
    product: Array,
    claims: Array,
    by_owner: Array,
    at_once: Array,
) -> pl.DataFrame:
    n, repair = len(unit), kind == REPAIR
    agency = _agency(units, unit, opened, agencies, draws)
    claimed = claims & (filed <= AS_OF)
    known = repair & ((done <= AS_OF) | (at_once & draws.chance(0.5, n)))
    told = known & ~draws.chance(0.05, n)
    bill = _bill(cause, agency, repair & (done <= AS_OF), agencies, draws)
    code = draws.whole(0, len(_REPAIR_NOTES) - 1, n)
    small = len(_REPAIR_NOTES) + code % len(_UPKEEP_NOTES)
    noted = draws.chance(np.where(repair, 0.30, 0.06), n)
    # Mixed case and blanks, as people type serials.
    shown = serial.gather(unit)
    sloppy = pl.Series(draws.chance(0.06, n))
    shown = shown.str.to_lowercase().str.replace_all("-", " ").zip_with(sloppy, shown)
    return pl.DataFrame(
        {
            "call": numbered("C-", np.arange(1, n + 1), 7),
            "claim": numbered("WC-", np.where(claimed, np.cumsum(claimed), NONE)),
            "serial": shown,
            "kind": words(kind, KINDS),
            "opened_on": to_dates("", opened),
            "failed_on": to_dates("", failed),
            "completed_on": to_dates("", known_by(done, AS_OF)),
            "claimed_on": to_dates("", np.where(claimed, filed, NONE)),
            "agency": words(np.where(by_owner, NONE, agency), [*agencies, NOT_AUTHORIZED]),
            "performed_by": words(by_owner * 1, ["technician", "owner"]),
            "product": words(product, reference("treatments")["product"].to_list()),
            "cause": words(np.where(told, cause, NONE), repair_kinds()["cause"].to_list()),
            "part": words(np.where(told, cause, NONE), repair_kinds()["part"].to_list()),
            **bill,
            "notes": words(np.where(noted, np.where(repair, code, small), NONE), _all_notes()),
            "cause_known_on": to_dates("", np.where(at_once, opened, done)),
        }
    )


def _all_notes() -> list[str]:
    return [*_REPAIR_NOTES, *_UPKEEP_NOTES]


def _agency(units: Units, unit: Array, opened: Array, agencies: list[str], draws: Draws) -> Array:
    """The agency of each call; one whose authorization ended mostly hands over to the other."""
    n, agency, table = len(unit), units.agency[unit], waters()
    periods = reference("agencies").with_columns(
        pl.col("authorized_from", "authorized_until").str.to_date().to_physical()
    )
    authorized = np.zeros(n, dtype=bool)
    for name, low, high in periods.select("agency", "authorized_from", "authorized_until").rows():
        inside = (opened >= low) & (opened <= (high or AS_OF))
        authorized |= inside & (agency == agencies.index(name))
    pair = np.array([[agencies.index(a) for a in table[c]] for c in ("agency", "other_agency")])
    region = units.region[unit]
    other = np.where(pair[0][region] == agency, pair[1][region], pair[0][region])
    agency = np.where(~authorized & draws.chance(0.7, n), other, agency)
    stray = draws.uniform(n)
    agency = np.where(stray < 0.010, len(agencies), agency)
    return np.where((stray > 0.985) & (agency != agencies.index(COME_BACK_AGENCY)), NONE, agency)


def _bill(
    cause: Array, agency: Array, billed: Array, agencies: list[str], draws: Draws
) -> dict[str, pl.Series]:
    """What each repair is billed at; quarters of an hour, now and then a third."""
    n, kinds = len(cause), repair_kinds()
    parts = kinds["parts_usd"].to_numpy()[cause] * draws.spread(0.12, n)
    hours = kinds["hours"].to_numpy()[cause] * draws.spread(0.22, n)
    long = agency == agencies.index(LONG_HOURS_AGENCY)
    quarters = np.maximum(np.round(hours * 4 * np.where(long, LONG_HOURS_FACTOR, 1)), 1)
    text = decimals(quarters * 25, 2)
    thirds = pl.Series(draws.chance(0.02, n))
    text = pl.Series(["1.3333333333"]).new_from_index(0, n).zip_with(thirds, text)
    rates = reference("agencies").group_by("agency").agg(pl.col("labor_rate").first())
    rates = rates.sort("agency")["labor_rate"].cast(pl.Float64).to_numpy()
    asked = np.append(rates, 115.0)[agency] * (0.95 + 0.2 * draws.uniform(n))
    travel = 35 + 85 * draws.uniform(n)
    unpriced = draws.chance(0.03, n)
    blank = np.nan
    return {
        "parts_amount": money(np.where(billed & ~unpriced, parts, blank)),
        "labor_hours": where(billed, text),
        "labor_rate": money(np.where(billed, np.round(asked * 2) / 2, blank)),
        "travel_amount": money(np.where(billed & ~draws.chance(0.1, n), np.round(travel), blank)),
    }


def _padded(values: Array, more: int) -> Array:
    return np.concatenate([values, np.full(more, NONE)])


def _before(values: Array, more: int) -> Array:
    return np.concatenate([np.full(more, NONE), values])
