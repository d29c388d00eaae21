"""One claim as `explain` tells it."""

from __future__ import annotations

from pipelines.counterfactuals.candidate_facts import STANDINGS
from schemas import codes
from schemas import json_schema as js
from schemas.decisions import DecisionHistory, Decisions, Findings
from schemas.feeds import Credits, Rulings
from schemas.payments import Payments


def explanation() -> js.Schema:
    """The decision with its findings, history, rulings, money, and what would change it."""
    return js.record(_properties())


def ruling(description: str | None = None) -> js.Schema:
    """One ruling, and whether the last refresh has seen it."""
    since = js.flag("Whether it was recorded since the last refresh.")
    return js.record(js.properties_of(Rulings) | {"since_refresh": since}, description)


def _properties() -> dict[str, js.Schema]:
    return js.properties_of(Decisions) | {
        "as_of": js.day("The day as of which it was decided."),
        "currency": js.text("The currency of all amounts.", "^[A-Z]{3}$"),
        "findings": js.rows_of(Findings, "The twenty conditions in order."),
        "would_change_it": js.texts("What would change the verdict, a sentence each."),
        "turned_by": js.listing("The same as data: sets of facts that turn it.", _turn()),
        "history": js.rows_of(DecisionHistory, "Its changes, the earliest first."),
        "rulings": js.listing("All rulings on it, the last one standing.", ruling()),
        "rulings_since": js.listing("Those recorded since the last refresh.", ruling()),
        "payment": js.or_null(
            js.row_of(Payments, "What was credited beside what stands; null where nothing is due.")
        ),
        "credits": js.rows_of(Credits, "The credits posted for it.", without=("claim",)),
        "replaces": js.or_null(js.text("The unit that the claim's unit took over from.")),
        "replacement": js.or_null(js.text("What became of that unit's clock.")),
    }


def _turn() -> js.Schema:
    fact = js.record(
        {
            "kind": js.text("What kind of fact.", "^[a-z_]+$"),
            "condition": js.word("The condition that calls for it.", codes.CONDITIONS),
            "standing": js.word(
                "`send`: it may still come; `correct`: what is on record would have to be "
                "corrected; `past`: the records say otherwise and cannot be helped.",
                STANDINGS,
            ),
            "day": js.or_null(js.day("The day that it turns on.")),
            "words": js.text("The fact in words."),
            "on_record": js.or_null(js.text("What the records say instead.")),
        }
    )
    return js.record(
        {
            "verdict": js.word("The verdict that they would give.", codes.VERDICTS),
            "still_possible": js.flag("Whether no fact of it contradicts what is on record."),
            "facts": js.listing("The facts, all needed together.", fact),
        }
    )
