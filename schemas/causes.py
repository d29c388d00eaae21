"""Causes that notes suggest, and how far the suggestions can be trusted.

Belongs here: the shape of the tables. Does not belong here: how they are computed
(`pipelines.assist.causes`). Nothing here decides a claim.
"""

import polars as pl

from schemas import codes
from schemas.columns import TEXTS, Table, day, integer, number, serial_number, text, texts, word

KINDS = ("no cause", "unknown cause", "notes say otherwise")
SOURCES = ("phrases", "model", "both")
ALL = "all"
CLASSES_AND_ALL = (ALL, *codes.CAUSE_CLASSES)


class CauseSuggestions(Table):
    """One row is one repair call for which notes, part and readings suggest a class of causes."""

    call: str = text("The call.", required=True, key=True)
    claim: str = text("Its claim, if there is one.")
    serial: str = serial_number("The unit.", required=True)
    opened_on: pl.Date = day("The day the call was opened.", required=True)
    kind: str = word("Why it is listed.", KINDS, required=True)
    recorded_cause: str = text("The cause as booked.")
    recorded_class: str = word("Its class; null where none or a catch-all.", codes.CAUSE_CLASSES)
    suggested_class: str = word("The class suggested.", codes.CAUSE_CLASSES, required=True)
    probability: float = number(
        "How often such a suggestion is right, on held-out calls; null where not measured.",
        ge=0,
        le=1,
    )
    recorded_probability: float = number(
        "The same for the recorded class, of a model that has not seen the call.", ge=0, le=1
    )
    source: str = word("What made it.", SOURCES, required=True)
    words: TEXTS = texts(
        "What speaks for it, with its part in the log-odds against the average class.",
        required=True,
    )
    note: str = text("How to read it.")


class CauseModelQuality(Table):
    """One row is one class of causes, or all, as suggested for held-out calls."""

    cause_class: str = word("The class; `all` for all.", CLASSES_AND_ALL, required=True, key=True)
    calls: pl.Int64 = integer("Held-out calls booked so.", required=True)
    suggested: pl.Int64 = integer("Held-out calls for which it came first.", required=True)
    right: pl.Int64 = integer("Both.", required=True)
    precision: float = number("Right over suggested; the accuracy in the row of all.")
    precision_low: float = number("Its lower exact 95 % limit.")
    precision_high: float = number("Its upper exact 95 % limit.")
    recall: float = number("Right over calls.")
    recall_low: float = number("Its lower exact 95 % limit.")
    recall_high: float = number("Its upper exact 95 % limit.")
    offered: pl.Int64 = integer("Held-out calls at the probability of a suggestion.", required=True)
    offered_right: pl.Int64 = integer("Of these, booked so.", required=True)
    brier_score: float = number(
        "Mean squared error of the probabilities; of all: over all classes."
    )
    expected_calibration_error: float = number("Mean gap of probability and share right; of all.")
    phrase_calls: pl.Int64 = integer("Booked calls whose phrases point to it.", required=True)
    phrase_right: pl.Int64 = integer("Of these, booked so.", required=True)
    trained_on: pl.Int64 = integer("Calls that the model learned from.", required=True)
    note: str = text("Why a figure is missing, or how to read it.")


class CauseReliability(Table):
    """One row is one tenth of the scale of probability, on held-out calls."""

    probability_from: float = number("Above this; the first from 0.", required=True)
    probability_to: float = number("Up to this.", required=True)
    calls: pl.Int64 = integer("Held-out calls whose first class has such a one.", required=True)
    right: pl.Int64 = integer("Of these, booked so.", required=True)
    mean_probability: float = number("Mean probability of the first class.")
    share_right: float = number("Right over calls.")
    low: float = number("Its lower exact 95 % limit.")
    high: float = number("Its upper exact 95 % limit.")


class CauseConfusion(Table):
    """One row is one pair of the class as booked and the class suggested for held-out calls."""

    recorded_class: str = word("As booked.", codes.CAUSE_CLASSES, required=True, key=True)
    suggested_class: str = word("As suggested.", codes.CAUSE_CLASSES, required=True, key=True)
    calls: pl.Int64 = integer("Held-out calls.", required=True)
    share_of_recorded: float = number("Share of the calls booked so.")


CAUSE_TABLES: dict[str, type[Table]] = {
    "cause_suggestions": CauseSuggestions,
    "cause_model_quality": CauseModelQuality,
    "cause_reliability": CauseReliability,
    "cause_confusion": CauseConfusion,
}
