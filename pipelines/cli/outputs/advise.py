"""What `advise` tells of a water and a model."""

from __future__ import annotations

from pipelines.water.advice_parts import STANDINGS
from schemas import codes
from schemas import json_schema as js
from schemas.decisions import SEVERITIES
from schemas.histories import PROFILE_WORDS, WaterProfiles

# What a water profile holds beside its indices.
_NOT_INDICES = (
    "sample", "site", "sampled_on", "profile", "needs", "worst_ratio", "chloramine_mg_l",
)  # fmt: skip


def advice() -> js.Schema:
    """The water judged, treatments that serve, tanks, and every line of advice."""
    return js.record(
        {
            "sample": js.text("The sample; `typed` for typed values."),
            "site": js.or_null(js.text("Its site.")),
            "sampled_on": js.or_null(js.day("The day it was taken.")),
            "model": js.text("The model."),
            "edition": js.text("The edition of the terms whose limits judge the water."),
            "family": js.text("The model's family."),
            "profile": js.word("The class of the water.", PROFILE_WORDS),
            "needs": js.texts("What the water needs of a treatment.", codes.ABILITIES),
            "severity": js.word("How hard the water is on a treatment.", SEVERITIES),
            "figures": js.row_of(
                WaterProfiles, "Indices, doubts and assumptions of the test.", without=_NOT_INDICES
            ),
            "analytes": js.listing("Each result beside its limit.", _analyte()),
            "combinations": js.listing("Treatments that serve together, best first.", _choice()),
            "tanks": js.listing("Each tank behind each membrane in its worst week.", _tank()),
            "lines": js.listing("What is advised, in the order to be read.", _line()),
        }
    )


def _analyte() -> js.Schema:
    return js.record(
        {
            "analyte": js.word("The analyte, with its unit.", codes.LIMITED_ANALYTES),
            "value": js.or_null(js.number("The result; null for a non-detect.")),
            "below": js.or_null(js.number("The bound of a non-detect.")),
            "min": js.or_null(js.number("The lowest value that the terms allow.")),
            "max": js.or_null(js.number("The highest value that the terms allow.")),
            "needs": js.or_null(
                js.word("What a value outside calls for; null without a limit.", codes.ABILITIES)
            ),
            "mild_at": js.or_null(js.number("Up to this the water is mild.")),
            "severe_at": js.or_null(js.number("Above this it is severe.")),
            "reported": js.flag("Whether the result tells; a bound above the limit does not."),
            "outside": js.flag("Whether it is outside its limit."),
        }
    )


def _choice() -> js.Schema:
    return js.record(
        {
            "products": js.texts("The systems."),
            "unmet": js.texts("Needs that they leave.", codes.ABILITIES),
            "not_needed": js.texts("What they also do.", codes.ABILITIES),
        }
    )


def _tank() -> js.Schema:
    return js.record(
        {
            "product": js.text("The membrane."),
            "tank_l": js.number("The tank, in litres.", least=0),
            "short_hours": js.integer("Hours of the week in which it runs short."),
            "short_l": js.number("Litres short in all.", least=0),
            "lowest_l": js.number("Its lowest level, in litres."),
            "start_hour": js.integer("The worst hour at which duty may begin.", most=23),
            "serves": js.flag("Whether it never runs short."),
        }
    )


def _line() -> js.Schema:
    return js.record(
        {
            "topic": js.text("What it is about.", "^[a-z][a-z ]*$"),
            "text": js.text("The advice."),
            "standing": js.word("How well it is founded.", STANDINGS),
            "cautions": js.texts("Cautions that belong to it."),
        }
    )
