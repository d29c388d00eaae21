"""How well values suit columns of days and of numbers.

Belongs here: forms, ranges, signs. Does not belong here: keys and texts (`key_fitness`, `fitness`).
"""

from __future__ import annotations

from pipelines.assist.drafts.fit import Fit
from pipelines.assist.drafts.profiles import Profile
from pipelines.assist.drafts.units import share_in_range, unit_in_name

# One value in every row is usual there: units ordered one by one, one rate of a year.
_MAY_BE_CONSTANT = ("labor_rate", "quantity", "water_lines", "value")


def fitness_of_days(profile: Profile) -> Fit:
    """How well values suit a column of days."""
    if profile.day_share >= 0.5:
        return Fit(profile.day_share, f"{profile.day_share:.0%} of the values are dates")
    counted = profile.counted_day_share
    if counted >= 0.8:
        return Fit(
            0.9 * counted, f"{counted:.0%} of the values are days as spreadsheets count them"
        )
    return Fit(profile.day_share, "the values are no dates", "the values are no dates")


def fitness_of_numbers(feed: str, column: str, kind: str, profile: Profile) -> Fit:
    """How well values suit a column of numbers: form, range and sign."""
    share = profile.number_share
    if profile.day_share > 0.5 and profile.plain_number_share < 0.9:
        return Fit(0.0, "the values are dates", "the values are dates")
    if share < 0.6:
        return Fit(share * 0.5, "few values are numbers", "the values are no numbers")
    numbers = profile.numbers
    in_range = share_in_range(column, numbers, unit_in_name(column, profile.header))
    why = f"{share:.0%} of the values are numbers"
    forbids = ""
    if profile.is_constant and numbers.len() and kind != "hours" and column not in _MAY_BE_CONSTANT:
        forbids = "every row has the same value"
    if in_range < 0.7:
        forbids = f"{1 - in_range:.0%} of the values are out of range"
    likeness = share * (0.3 + 0.7 * in_range)
    if kind == "integer":
        likeness *= 0.2 + 0.8 * profile.whole_share
    negative = float((numbers < 0).sum()) / max(numbers.len(), 1)
    if kind in ("money", "hours") and feed != "credits" and negative > 0.2:
        likeness, forbids = likeness * 0.4, "many values are below zero"
    if kind == "money" and _looks_like_codes(profile):
        likeness, forbids = likeness * 0.3, "the values look like codes, not like amounts"
    return Fit(min(likeness, 1.0), why, forbids)


def _looks_like_codes(profile: Profile) -> bool:
    """Whether whole numbers of one length stand there, as codes do."""
    lengths = profile.texts["text"].str.len_chars()
    return bool(
        profile.decimal_share < 0.05
        and profile.texts.height > 3
        and lengths.n_unique() == 1
        and int(lengths[0]) >= 4
    )
