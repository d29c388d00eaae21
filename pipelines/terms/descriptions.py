"""Every key of a terms file in words: what it is for, what it may hold, and its default.

Belongs here: descriptions, held to the shape by a test. Does not belong here: the checks (`shape`),
which conditions read a key (`pipelines.coverage.conditions`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pipelines.terms.frames import DOCUMENTS_WITHIN_DAYS
from pipelines.terms.key_types import type_of
from pipelines.terms.shape import BURNED_GASES, GAS_READING, Table, terms_shape
from schemas import codes

# What stands for any analyte, reading or gas of a limit.
ANY_ANALYTE, ANY_READING, ANY_GAS = "ANALYTE", "READING", "GAS"


@dataclass(frozen=True)
class TermKey:
    """A key by its dotted path, what it may hold, whether it is needed, default and meaning.

    `read_by` names what reads it besides conditions; empty where only these do.
    """

    path: str
    type: str
    is_required: bool
    default: str
    about: str
    read_by: str = ""


# The meaning, the default of a key that may be left out, and what reads it besides conditions.
ABOUT: dict[str, tuple[str, str, str]] = {
    "edition": ("The edition's name.", "", "letters and pages"),
    "effective_from": (
        "The first day of purchase (of shipping, where there is none) for which it holds.",
        "",
        "",
    ),
    "example": (
        "Whether the file is an example; while it is, everything warns.",
        "false",
        "warnings",
    ),
    "conditions_off": ("Conditions that this edition does without.", "none", "every condition"),
    "clock.start": ("The first of these dates that a unit has starts its warranty.", "", ""),
    "clock.days_after_shipment": ("Without such a date: the shipping date plus this.", "", ""),
    "clock.latest_days_after_shipment": (
        "However long a unit stood in store, its warranty starts no later than the shipping date "
        "plus this.",
        "no limit",
        "",
    ),
    "clock.replacement": (
        "Whether a unit that replaces another starts anew, or carries on the clock of the first.",
        "new",
        "",
    ),
    "coverage.parts_months": ("Base time of parts cover.", "", ""),
    "coverage.labor_months": ("Base time of labor cover.", "", ""),
    "startup.request_within_days": (
        "By when a start-up must be asked for, from the purchase date, that day included.",
        "",
        "",
    ),
    "startup.bonus_parts_months": ("Parts cover more, once the start-up bonus is earned.", "", ""),
    "startup.bonus_labor_months": ("Labor cover more, once the start-up bonus is earned.", "", ""),
    "claims.file_within_days": (
        "By when a claim must be filed, from the call's completion.",
        "",
        "",
    ),
    "claims.duplicate_within_days": (
        "Failures of one unit and cause so few days apart may be the same failure.",
        "",
        "",
    ),
    "claims.workmanship_days": ("How long a repair must hold.", "", ""),
    "claims.documents_within_days": (
        "How long the documents that a claim asks for may take.",
        str(DOCUMENTS_WITHIN_DAYS),
        "letters and the worklist",
    ),
    "water.panel": ("What a supply test must report to count.", "", ""),
    "water.limits.ANALYTE.min": ("The least that supply water may have of it.", "no limit", ""),
    "water.limits.ANALYTE.max": ("The most that supply water may have of it.", "no limit", ""),
    "water.limits.ANALYTE.needs": (
        "What a treatment must do outside the limits.",
        "needed beside min or max",
        "",
    ),
    "treatment.sellers": ("Who may have sold a treatment.", "", ""),
    "treatment.grace_days": (
        "How long fitting it may take, from the first complete test or the start of the warranty.",
        "",
        "",
    ),
    "treatment.fresh_days": (
        "A system fitted so shortly before the failure is looked at by a person.",
        "nobody looks",
        "",
    ),
    "treatment.judged_by": (
        "Whether all that the water calls for counts, or only what the cause points to.",
        "water",
        "",
    ),
    "maintenance.cartridge_months.mild": ("How long a cartridge lasts in mild water.", "", ""),
    "maintenance.cartridge_months.normal": ("How long it lasts in normal water.", "", ""),
    "maintenance.cartridge_months.severe": ("How long it lasts in severe water.", "", ""),
    "maintenance.mild_up_to": ("Water is mild up to this share of its worst maximum.", "", ""),
    "maintenance.severe_above": ("Water is severe above this share of its worst maximum.", "", ""),
    "maintenance.cartridge_grace_days": ("How late a cartridge may be.", "", ""),
    "maintenance.look_back_months": (
        "Lapses that ended so long before the failure, or longer, are forgiven.",
        "none is forgiven",
        "",
    ),
    "maintenance.delime_months": ("How often a unit must be delimed.", "", ""),
    "maintenance.delime_grace_days": ("How late a deliming may be.", "", ""),
    "installation.limits.READING.min": (
        "The least that a start-up reading may be.",
        "no limit",
        "",
    ),
    "installation.limits.READING.max": ("The most that a start-up reading may be.", "no limit", ""),
    f"installation.limits.{GAS_READING}.GAS.min": ("The least gas pressure.", "no limit", ""),
    f"installation.limits.{GAS_READING}.GAS.max": ("The most gas pressure.", "no limit", ""),
    "installation.must_report": (
        "What a complete start-up report has.",
        "nothing",
        "reviews of start-up reports",
    ),
    "installation.two_lines_above_f": (
        "A supply warmer than this needs two water lines.",
        "no limit",
        "reviews of start-up reports",
    ),
    "installation.two_lines_when_treated": (
        "Whether a unit whose water is treated needs two water lines.",
        "false",
        "reviews of start-up reports",
    ),
}


def term_keys() -> list[TermKey]:
    """Every key that a terms file may have, in the order of the shape, likes told once."""
    keys: dict[str, TermKey] = {}
    for path, kind, required in _leaves(terms_shape([], codes.ABILITIES), ()):
        if path[0] == "family" or kind is None:
            continue
        name = _any(path)
        about, default, read_by = ABOUT.get(name, ("", "", ""))
        keys.setdefault(name, TermKey(name, kind, required, default, about, read_by))
    return list(keys.values())


def _any(path: tuple[str, ...]) -> str:
    """A path in which one word stands for every analyte, reading and gas."""
    parts = list(path)
    if parts[:2] == ["water", "limits"]:
        parts[2] = ANY_ANALYTE
    elif parts[:2] == ["installation", "limits"] and parts[2] != GAS_READING:
        parts[2] = ANY_READING
    elif parts[:2] == ["installation", "limits"] and parts[3] in BURNED_GASES:
        parts[3] = ANY_GAS
    return ".".join(parts)


def _leaves(
    table: Table, above: tuple[str, ...]
) -> Iterator[tuple[tuple[str, ...], str | None, bool]]:
    for name, entry in table.keys.items():
        if isinstance(entry, Table):
            yield from _leaves(entry, (*above, name))
        else:
            yield (*above, name), type_of(entry), entry.required
