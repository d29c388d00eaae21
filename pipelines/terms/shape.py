"""The keys that an edition of the terms may have, and what each may hold.

Belongs here: one entry a key. Does not belong here: checks between keys (`editions`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

from pipelines.workspace.toml_file import is_number, is_whole, show, suggest
from schemas import codes

MOST_DAYS = 36_500  # a hundred years: more is a slip of the hand
MOST_MONTHS = 1_200
MOST = 10**9
CLOCK_DATES = ("installed_on", "purchased_on", "shipped_on")
JUDGED_BY = ("water", "cause")
REPLACEMENT = ("new", "carries_on")
YES_NO_READINGS = ("level", "under_hood")
GAS_READING = "gas_pressure_in_wc"
BURNED_GASES = tuple(gas for gas in codes.GASES if gas != "none")

Check = Callable[[Any], str | None]


@dataclass(frozen=True)
class Key:
    """One key: `check` returns what is wrong with a value, as the rest of a sentence, or None."""

    check: Check
    required: bool = True


@dataclass(frozen=True)
class Table:
    """One table: its keys, and what to say of a key that it does not know."""

    keys: Mapping[str, Key | Table]
    unknown: str = "is not a known key"


def terms_shape(families: Collection[str], abilities: Collection[str]) -> Table:
    """The shape of a whole file, for the families of models.csv and what treatments can do."""
    override = _edition_tables(abilities)
    dated = {"edition": Key(_text), "effective_from": Key(_day), "example": Key(_flag, False)}
    per_family = Table(
        {name: Table(override) for name in families},
        unknown="is no family of reference/models.csv",
    )
    return Table({**dated, **override, "family": per_family})


def _edition_tables(abilities: Collection[str]) -> dict[str, Key | Table]:
    days, months = partial(_whole, "days", MOST_DAYS, 0), partial(_whole, "months", MOST_MONTHS, 0)
    some_months = partial(_whole, "months", MOST_MONTHS, 1)
    need = partial(_ability, abilities)
    bounds = {"min": Key(_number, False), "max": Key(_number, False)}
    # No analyte is ever negative, and severity is a share of the maximum.
    limit = Table(
        {"min": Key(_not_negative, False), "max": Key(_positive, False), "needs": Key(need, False)}
    )
    limits: dict[str, Key | Table] = dict.fromkeys(codes.LIMITED_ANALYTES, limit)
    return {
        "conditions_off": Key(partial(_words, "condition", codes.CONDITIONS), False),
        "clock": Table(
            {
                "start": Key(partial(_words, "date that starts a clock", CLOCK_DATES)),
                "days_after_shipment": Key(days),
                "latest_days_after_shipment": Key(days, False),
                "replacement": Key(partial(_either, REPLACEMENT), False),
            }
        ),
        "coverage": Table({"parts_months": Key(months), "labor_months": Key(months)}),
        "startup": Table(
            {
                "request_within_days": Key(days),
                "bonus_parts_months": Key(months),
                "bonus_labor_months": Key(months),
            }
        ),
        "claims": Table(
            {
                "file_within_days": Key(days),
                "duplicate_within_days": Key(days),
                "workmanship_days": Key(days),
                "documents_within_days": Key(days, False),
            }
        ),
        "water": Table(
            {
                "panel": Key(partial(_words, "analyte of a water test", codes.LIMITED_ANALYTES)),
                "limits": Table(limits, unknown="is no analyte that a water test reports"),
            }
        ),
        "treatment": Table(
            {
                "sellers": Key(_names),
                "grace_days": Key(days),
                "fresh_days": Key(partial(_whole, "days", MOST_DAYS, 1), False),
                "judged_by": Key(partial(_either, JUDGED_BY), False),
            }
        ),
        "maintenance": Table(
            {
                "cartridge_months": Table(
                    {severity: Key(some_months) for severity in ("mild", "normal", "severe")}
                ),
                "mild_up_to": Key(_not_negative),
                "severe_above": Key(_not_negative),
                "cartridge_grace_days": Key(days),
                "look_back_months": Key(some_months, False),
                "delime_months": Key(some_months),
                "delime_grace_days": Key(days),
            }
        ),
        "installation": Table(
            {
                "limits": _installation_limits(bounds),
                "must_report": Key(partial(_words, "reading of a start-up", codes.REPORTED), False),
                "two_lines_above_f": Key(_number, False),
                "two_lines_when_treated": Key(_flag, False),
            }
        ),
    }


def _installation_limits(bounds: Mapping[str, Key | Table]) -> Table:
    limits: dict[str, Key | Table] = {}
    for reading in codes.READINGS:
        if reading in YES_NO_READINGS:
            limits[reading] = Key(_no_limit, False)
        elif reading == GAS_READING:
            limits[reading] = Table(
                {gas: Table(bounds) for gas in BURNED_GASES},
                unknown=f"is no gas that a unit burns (write limits.{GAS_READING}.natural = "
                "{ min = …, max = … })",
            )
        else:
            limits[reading] = Table(bounds)
    return Table(limits, unknown="is no reading that a start-up report has")


def _text(value: Any) -> str | None:
    if isinstance(value, str) and value.strip():
        return None
    return f'is {show(value)}; write a name in quotes, such as "2024-A".'


def _day(value: Any) -> str | None:
    # A TOML date and time is a datetime, which Python also takes for a date.
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return None
    return f"is {show(value)}; write a day without quotes, such as 2024-01-01."


def _flag(value: Any) -> str | None:
    return None if isinstance(value, bool) else f"is {show(value)}; write true or false."


def _whole(of: str, most: int, least: int, value: Any) -> str | None:
    if is_whole(value) and least <= value <= most:
        return None
    return f"is {show(value)}; write a whole number of {of} from {least} to {most}."


def _number(value: Any) -> str | None:
    if is_number(value) and abs(value) <= MOST:
        return None
    return f"is {show(value)}; write a number."


def _not_negative(value: Any) -> str | None:
    if _number(value) is None and value >= 0:
        return None
    return f"is {show(value)}; write a number that is 0 or more."


def _positive(value: Any) -> str | None:
    if _number(value) is None and value > 0:
        return None
    return f"is {show(value)}; write a number above 0."


def _words(what: str, known: Collection[str], value: Any) -> str | None:
    if not isinstance(value, list) or not all(isinstance(word, str) for word in value):
        example = next(iter(known))
        return f'is {show(value)}; write a list of names in quotes, such as ["{example}"].'
    for word in value:
        if word not in known:
            return f"names {show(word)}, which is no {what}; {suggest(word, known)}"
    if twice := {word for word in value if value.count(word) > 1}:
        return f'names "{min(twice)}" twice; name it once.'
    return None


def _names(value: Any) -> str | None:
    if isinstance(value, list) and all(isinstance(name, str) and name.strip() for name in value):
        return None
    return f'is {show(value)}; write a list of names in quotes, such as ["MAKER-DIRECT"].'


def _either(words: tuple[str, str], value: Any) -> str | None:
    if isinstance(value, str) and value in words:
        return None
    return f'is {show(value)}; write "{words[0]}" or "{words[1]}".'


def _ability(abilities: Collection[str], value: Any) -> str | None:
    if not isinstance(value, str):
        return f'is {show(value)}; write one ability in quotes, such as "scale".'
    if value in abilities:
        return None
    if value in codes.ABILITIES:
        return (
            f'is "{value}", which no treatment has; add a system that removes it to '
            "reference/treatments.csv, or take the limit out."
        )
    return f"is {show(value)}, which no treatment has; {suggest(value, abilities)}"


def _no_limit(value: Any) -> str | None:
    return "is set, but this reading is yes or no: sound when yes, without a limit; take it out."
