"""What advice is made of: lines with their standing and cautions, and what the kitchen is like.

Belongs here: shared shapes and the cautions' wording. Does not belong here: what is advised
(`advice_water`, `advice_treatment`, `advice_generator`).
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import polars as pl

from pipelines.water.treatment import Combination

STANDINGS = ("well founded", "bound", "empirical", "rule of thumb")

INDEX_CAUTION = "An index is a guide to risk, never proof of cause in a claim."
DELIMING_CAUTION = (
    "Deliming agents are acids: follow the label and the safety data sheet, protect hands and "
    "eyes, air the room, never let an acid and a chlorine cleaner meet (chlorine gas), and rinse "
    "until neutral before food is cooked. Acid is unsafe on aluminum, zinc and galvanized parts."
)
OPENING_CAUTION = (
    "Before a generator is opened it must be de-energized, without pressure and cool: steam and "
    "hot water scald. Work on steam, gas, pressure and electricity is for licensed and trained "
    "people, under local code and the maker's manual."
)
PLUMBING_CAUTION = (
    "Plumbing, backflow protection and drains (mind the temperature that the drain may take) are "
    "for licensed trades under local code."
)
MANUAL_CAUTION = "The maker's manual goes first wherever it says otherwise."


@dataclass(frozen=True, slots=True)
class Line:
    """One piece of advice.

    `standing` is one of `STANDINGS`; `cautions` stand beside the line wherever it is shown.
    """

    topic: str
    text: str
    standing: str
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Duty:
    """What the kitchen asks of the water.

    Attributes:
        tanks_l: storage tanks that the maker sells, L.
        duty_hours_per_day: hours of steaming a day.
        first_fill_l: what the cooker takes at the start of each day's duty beyond its feed, L.
        power_kw: heat that goes into the water; None: all feed counts as evaporated.
        feed_c: temperature of the feed, for the heat balance.
        deposit_share: lowest and highest share of the scale ceiling that stays as scale; a rule of
            thumb until field data give a better one.
    """

    tanks_l: tuple[float, ...]
    duty_hours_per_day: float
    first_fill_l: float = 0.0
    power_kw: float | None = None
    feed_c: float = 15.0
    deposit_share: tuple[float, float] = (0.3, 1.0)


@dataclass(frozen=True)
class Advice:
    """Advice with the figures behind it.

    Attributes:
        test: the test's record.
        model: the model's row.
        edition, family: whose limits judge the water.
        profile, needs, severity: as judged; `needs` holds {scale} for a model always to be treated.
        figures: indices, doubts and assumptions of the test.
        lines: what is advised, in the order to be read.
        analytes: value, below, min, max, needs, outside … by analyte, for a picture.
        offered: combinations of treatments, best first.
        tanks: each tank behind each membrane in its worst week.
        levels: the tank over that week, hour by hour, for a picture.
    """

    test: dict[str, Any]
    model: dict[str, Any]
    edition: str
    family: str
    profile: str
    needs: list[str]
    severity: str
    figures: dict[str, Any]
    lines: list[Line]
    analytes: pl.DataFrame
    offered: list[Combination]
    tanks: pl.DataFrame
    levels: pl.DataFrame

    def to_dict(self) -> dict[str, Any]:
        """Everything but the hourly levels, ready for JSON."""
        sampled_on = self.test["sampled_on"]
        return {
            "sample": self.test["sample"],
            "site": self.test["site"],
            "sampled_on": sampled_on.isoformat() if sampled_on else None,
            "model": self.model["model"],
            "edition": self.edition,
            "family": self.family,
            "profile": self.profile,
            "needs": self.needs,
            "severity": self.severity,
            "figures": self.figures,
            "analytes": self.analytes.to_dicts(),
            "combinations": [asdict(choice) for choice in self.offered],
            "tanks": self.tanks.to_dicts(),
            "lines": [asdict(line) for line in self.lines],
        }


def shown(value: float, digits: int = 0) -> str:
    """A number for a sentence: rounded, without trailing zeros."""
    text = f"{value:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def listed(words: tuple[str, ...] | list[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    *most, last = words
    return f"{', '.join(most)} and {last}" if most else last


def sentence(text: str) -> str:
    """The text with a capital at its front; `pH` stays as it is."""
    return text if text.startswith("pH") else f"{text[0].upper()}{text[1:]}"
