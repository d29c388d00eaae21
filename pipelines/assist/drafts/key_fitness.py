"""How well values suit keys: serials, sites, numbers of records and of lines.

Belongs here: what a key may not be. Does not belong here: numbers and texts (`number_fitness`,
`fitness`).
"""

from __future__ import annotations

import polars as pl

from pipelines.assist.drafts.fit import Fit, share_found
from pipelines.assist.drafts.known import Known
from pipelines.assist.drafts.profiles import Profile
from schemas.columns import key_columns
from schemas.feeds import FEED_TABLES

_FEW_REPEATS = 0.02


def fitness_of_keys(feed: str, column: str, profile: Profile, known: Known, long: bool) -> Fit:
    """How well values suit a key, and why they may not be taken for it unasked."""
    if profile.day_share > 0.5 and profile.counted_day_share < 0.5:
        return Fit(0.0, "the values are dates", "the values are dates")
    if profile.decimal_share > 0.2:
        why = "the values look like amounts"
        return Fit(0.05, why, why)
    if column in ("serial", "replaces"):
        return _of_serials(feed, column, profile, known)
    if column == "site":
        return _of_sites(profile, known)
    if column == "line":
        return _of_lines(profile)
    likeness, why = profile.code_share, f"{profile.code_share:.0%} of the values look like numbers"
    forbids = "the values do not look like numbers of records" if likeness < 0.6 else ""
    if profile.is_constant:
        forbids = "every row has the same value"
    elif _must_be_unique(feed, column, long) and profile.repeats > _FEW_REPEATS:
        likeness *= max(0.6, 1 - profile.repeats)
        forbids = f"{profile.repeats:.0%} of the values stand there again, which the key may not"
    return Fit(likeness, why, forbids)


def _must_be_unique(feed: str, column: str, long: bool) -> bool:
    if feed == "service_calls" and column == "claim":
        return True
    return key_columns(FEED_TABLES[feed]) == [column] and not (long and column == "sample")


def _of_serials(feed: str, column: str, profile: Profile, known: Known) -> Fit:
    likeness = profile.code_share * (1.0 if profile.length >= 3 else 0.5)
    if column == "replaces":
        return Fit(likeness, "the values look like serials")
    why = f"{profile.code_share:.0%} of the values look like serials"
    forbids = "the values do not look like serials" if likeness < 0.5 else ""
    is_register = feed == "units"
    strong = False
    if not is_register and known.of("serial").len():
        share = share_found(profile, known, "serial")
        why = f"{share:.0%} of the values are on the register"
        strong = share >= 0.5
        likeness = 0.9 + 0.1 * share if strong else 0.15 + 0.75 * share
        forbids = "none of the values is on the register" if share == 0 else ""
    if profile.is_constant:
        forbids = "every row has the same value"
    elif is_register and profile.repeats > _FEW_REPEATS:
        likeness *= max(0.6, 1 - profile.repeats)
        forbids = f"{profile.repeats:.0%} of the values stand there again, which a serial may not"
    return Fit(likeness, why, forbids, strong)


def _of_sites(profile: Profile, known: Known) -> Fit:
    sites = known.of("site")
    forbids = "every row has the same value" if profile.is_constant else ""
    if sites.len():
        share = share_found(profile, known, "site")
        why = f"{share:.0%} of the values are sites of the register"
        if share == 0:
            return Fit(0.2, why, forbids or "none of the values is a site of the register")
        return Fit(0.4 + 0.6 * share, why, forbids, share >= 0.6)
    likeness = max(profile.code_share, 0.75 if profile.length < 16 else 0.5)
    if profile.whole_share > 0.95 and profile.length < 2:
        likeness = 0.3
    return Fit(likeness, f"{profile.code_share:.0%} of the values look like codes", forbids)


def _of_lines(profile: Profile) -> Fit:
    share = profile.share(pl.col("text").str.contains(r"^[A-Za-z]?[0-9]{1,6}$"))
    few = profile.distinct <= max(30, profile.count * 0.3)
    likeness = share * (1.0 if few else 0.3)
    forbids = "every row has the same value" if profile.is_constant else ""
    if likeness < 0.6:
        forbids = "the values do not look like numbers of lines"
    return Fit(likeness, f"{share:.0%} of the values are short numbers", forbids)
