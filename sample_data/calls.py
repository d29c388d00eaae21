"""Service calls and claims: how failures are reported, repaired and claimed.

Belongs here: the feed service_calls. Does not belong here: what fails and when (`failures`), what
they cost (`bills`), what is booked and noted (`notes`), calls that are no repairs (`upkeep`),
rulings on claims (`rulings`).
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
import polars as pl

from sample_data.bills import bill_of
from sample_data.columns import numbered, words
from sample_data.days import NONE, add_months, day, known_by, to_dates
from sample_data.documents import Startups
from sample_data.draws import Array, Draws
from sample_data.editions import editions, reference, waters
from sample_data.failures import COME_BACK_AGENCY, Failures, repair_kinds
from sample_data.notes import NOT_BOOKED, booked, notes
from sample_data.population import AS_OF, Units
from sample_data.treatment import Treatment
from sample_data.upkeep import KINDS, REPAIR, Upkeep

SEEN_AFTER_COVER = 0.22  # failures past coverage are seldom reported
CLAIMED_AFTER_COVER = 0.30
NOT_AUTHORIZED = "INDEPENDENT-7"


@dataclass(frozen=True)
class _Log:
    """What happened on each call, one entry a call."""

    unit: Array
    kind: Array  # position in KINDS
    opened: Array
    failed: Array
    done: Array
    filed: Array
    cause: Array  # position in tables/repairs.csv, NONE for upkeep
    product: Array
    claims: Array
    by_owner: Array
    at_once: Array  # filed when the call was opened

    def taken(self, rows: Array) -> _Log:
        """Only these calls, in this order."""
        return _Log(*(getattr(self, field.name)[rows] for field in fields(self)))


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

    Dates are dates, everything else is text. Beside the feed's columns stand `cause_known_on`, the
    day from which the desk knew the cause, `true_cause`, and `mistake`: what is wrong with the
    cause as booked.
    """
    draws = Draws(seed, "calls")
    repairs = _repairs(units, startups, failures, treatment, claim_share, draws)
    care = _care(upkeep, draws)
    pairs = ((getattr(repairs, f.name), getattr(care, f.name)) for f in fields(_Log))
    log = _Log(*(np.concatenate(pair) for pair in pairs))
    log = replace(log, opened=np.maximum(log.opened, units.shipped[log.unit]))
    seen = np.flatnonzero(log.opened <= AS_OF)
    order = np.lexsort((log.kind[seen], log.unit[seen], log.opened[seen]))
    told = Draws(seed, "notes")
    return _frame(units, serial, agencies, log.taken(seen[order]), draws, told)


def coverage_end(units: Units, startups: Startups) -> Array:
    """The end of each unit's longest coverage window."""
    terms, at = editions(), (units.edition, units.family)
    months = np.maximum(terms.parts_months[at], terms.labor_months[at])
    return add_months(units.clock, months + startups.earned * terms.bonus_months[at])


def _repairs(
    units: Units,
    startups: Startups,
    failures: Failures,
    treatment: Treatment,
    claim_share: float,
    draws: Draws,
) -> _Log:
    """The repairs that were reported, and which of them were claimed when."""
    rows = _reported(units, startups, failures, draws)
    unit, failed, cause = failures.unit[rows], failures.on[rows], failures.cause[rows]
    covered = failed < coverage_end(units, startups)[unit]
    n = len(rows)
    opened = failed + draws.lag(0, 2.2, n)
    told = ~draws.chance(0.07, n)
    done = opened + draws.lag(0, 6, n)
    # Since 2026 claims are filed on line, and more of them are.
    share = np.where(opened >= day("2026-01-01"), 1.3, 1.0) * claim_share
    # Little is claimed for misuse, and for what water did where nobody treated it.
    untreated = treatment.works_from[unit] > failed
    hopeless = (_said("water_related")[cause] & untreated) | _said("excluded")[cause]
    share = np.where(hopeless, 0.6, 1.0) * share
    claims = draws.chance(np.where(covered, share, CLAIMED_AFTER_COVER), n)
    at_once = draws.chance(0.16, n)
    late = draws.chance(0.035, n)
    filed = done + draws.lag(1, 15, n) + np.where(late, draws.whole(45, 110, n), 0)
    return _Log(
        unit=unit,
        kind=np.full(n, REPAIR),
        opened=opened,
        failed=np.where(told, failed, NONE),
        done=done,
        filed=np.where(at_once, opened + draws.whole(0, 2, n), filed),
        cause=cause,
        product=np.full(n, NONE),
        claims=claims,
        by_owner=np.zeros(n, dtype=bool),
        at_once=at_once,
    )


def _care(upkeep: Upkeep, draws: Draws) -> _Log:
    """Calls that are no repairs, as calls."""
    n = len(upkeep.unit)
    none, no = np.full(n, NONE), np.zeros(n, dtype=bool)
    return _Log(
        unit=upkeep.unit,
        kind=upkeep.kind,
        opened=upkeep.on - draws.lag(0, 2, n),
        failed=none,
        done=upkeep.on,
        filed=none,
        cause=none,
        product=upkeep.product,
        claims=no,
        by_owner=upkeep.by_owner,
        at_once=no,
    )


def _said(column: str) -> Array:
    """For each row of tables/repairs.csv whether causes.csv says yes in this column."""
    causes = reference("causes").select("cause", column)
    joined = repair_kinds().join(causes, on="cause", how="left", maintain_order="left")
    return (joined[column] == "yes").to_numpy()


def _reported(units: Units, startups: Startups, failures: Failures, draws: Draws) -> Array:
    inside = failures.on < coverage_end(units, startups)[failures.unit]
    # Of two failures of one cause within five days the desk makes one call.
    order = np.lexsort((failures.on, failures.cause, failures.unit))
    unit, cause, on = (x[order] for x in (failures.unit, failures.cause, failures.on))
    twin = np.zeros(len(on), dtype=bool)
    twin[order[1:]] = (np.diff(unit) == 0) & (np.diff(cause) == 0) & (np.diff(on) < 5)
    return np.flatnonzero((inside | draws.chance(SEEN_AFTER_COVER, len(on))) & ~twin)


def _frame(
    units: Units, serial: pl.Series, agencies: list[str], log: _Log, draws: Draws, told: Draws
) -> pl.DataFrame:
    n, repair = len(log.unit), log.kind == REPAIR
    agency = _agency(units, log.unit, log.opened, agencies, draws)
    claimed = log.claims & (log.filed <= AS_OF)
    known = repair & ((log.done <= AS_OF) | (log.at_once & draws.chance(0.5, n)))
    cause, mistake = booked(log.cause, known, draws.chance(NOT_BOOKED, n), told)
    bill = bill_of(log.cause, agency, repair & (log.done <= AS_OF), agencies, draws)
    return pl.DataFrame(
        {
            "call": numbered("C-", np.arange(1, n + 1), 7),
            "claim": numbered("WC-", np.where(claimed, np.cumsum(claimed), NONE)),
            "serial": _as_typed(serial.gather(log.unit), draws),
            "kind": words(log.kind, KINDS),
            "opened_on": to_dates("", log.opened),
            "failed_on": to_dates("", log.failed),
            "completed_on": to_dates("", known_by(log.done, AS_OF)),
            "claimed_on": to_dates("", np.where(claimed, log.filed, NONE)),
            "agency": words(np.where(log.by_owner, NONE, agency), [*agencies, NOT_AUTHORIZED]),
            "performed_by": words(log.by_owner * 1, ["technician", "owner"]),
            "product": words(log.product, reference("treatments")["product"].to_list()),
            "cause": cause,
            "part": words(np.where(known, log.cause, NONE), repair_kinds()["part"].to_list()),
            **bill,
            "notes": notes(log.cause, told),
            "cause_known_on": to_dates("", np.where(log.at_once, log.opened, log.done)),
            "true_cause": words(log.cause, repair_kinds()["cause"].to_list()),
            "mistake": mistake,
        }
    )


def _as_typed(serial: pl.Series, draws: Draws) -> pl.Series:
    """Serials as people type them: some in small letters, with blanks."""
    sloppy = pl.Series(draws.chance(0.06, len(serial)))
    return serial.str.to_lowercase().str.replace_all("-", " ").zip_with(sloppy, serial)


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
