"""What `unit` tells: a unit, its way, its start-ups, tests, treatment, calls, claims, letters."""

from __future__ import annotations

from schemas import codes, register
from schemas import json_schema as js
from schemas.columns import Table, column_names
from schemas.decisions import Decisions
from schemas.feeds import ServiceCalls, Startups, TreatmentPurchases, WaterTests
from schemas.histories import UnitHistories
from schemas.startups import (
    InstallationFindings,
    Journeys,
    StartupReviews,
    TreatmentRecommendations,
)
from schemas.views import EVENT_WORDS


def unit() -> js.Schema:
    """Everything that is on file of a unit."""
    return js.record(
        {
            "serial": js.text("The unit."),
            "as_of": js.day("The day as of which it is told."),
            "unit": js.row_of(UnitHistories, "Its clock, cover, start-up, water and upkeep."),
            "journey": js.or_null(
                js.row_of(Journeys, "The days of its way.", without=("agency", "left_on"))
            ),
            "recommendation": js.or_null(
                js.row_of(TreatmentRecommendations, "What its water calls for.")
            ),
            "events": js.listing("Its life, by day.", _event()),
            "startups": js.listing("Its start-ups, by completion.", _startup()),
            "tests": js.listing("The water tests of it and its site.", _test()),
            "purchases": js.listing("What was bought for it.", _purchase()),
            "calls": js.listing(
                "Service calls to it.",
                _part(
                    ServiceCalls,
                    "call claim kind opened_on failed_on completed_on agency performed_by product "
                    "cause part notes",
                ),
            ),
            "claims": js.listing(
                "Claims for it.",
                _part(
                    Decisions,
                    "claim call failed_on verdict lead_reason ruling standing agency",
                ),
            ),
            "letters": js.listing(
                "Letters about it and its claims.",
                _part(
                    register.Letters,
                    "entry kind claim report sample as_of state agency sent_on due_on subject",
                ),
            ),
            "notes": js.listing(
                "What people noted on its claims.",
                js.record(
                    {
                        "claim": js.text("The claim."),
                        "at": js.text("When it was noted, UTC."),
                        "by": js.text("Who noted it."),
                        "text": js.text("What."),
                    }
                ),
            ),
        }
    )


def _part(table: type[Table], columns: str) -> js.Schema:
    shown = columns.split()
    others = [name for name in column_names(table) if name not in shown]
    properties = js.properties_of(table, without=others)
    return js.record({name: properties[name] for name in shown})


def _event() -> js.Schema:
    return js.record(
        {
            "day": js.day("The day."),
            "event": js.word("What happened.", EVENT_WORDS),
            "feed": js.word("The feed that tells it.", codes.FEEDS),
            "key": js.text("The key of the record that tells it."),
        }
    )


def _startup() -> js.Schema:
    properties = js.properties_of(Startups)
    shown = ("report", "requested_on", "completed_on", "agency", "notes")
    return js.record(
        {
            **{name: properties[name] for name in shown},
            "review": js.or_null(js.row_of(StartupReviews, "Its review, once it is completed.")),
            "findings": js.rows_of(InstallationFindings, "Its readings against the terms."),
        }
    )


def _test() -> js.Schema:
    properties = js.properties_of(WaterTests)
    shown = ("sample", "point", "sampled_on", "reported_on", "lab")
    return js.record(
        {
            **{name: properties[name] for name in shown},
            "complete": js.flag("Whether it reports the panel of the unit's terms."),
            "profile": js.or_null(js.text("The class of the water.")),
            "analytes": js.listing(
                "What it reports, beside the limits of the unit's terms.",
                js.record(
                    {
                        "analyte": js.word("The analyte.", codes.LIMITED_ANALYTES),
                        "value": js.or_null(js.number("Its value.")),
                        "below": js.or_null(js.number("The bound of a non-detect.")),
                        "min": js.or_null(js.number("Its least.")),
                        "max": js.or_null(js.number("Its most.")),
                        "needs": js.or_null(js.word("What it calls for.", codes.ABILITIES)),
                        "outside": js.flag("Whether the value is outside."),
                    }
                ),
            ),
        }
    )


def _purchase() -> js.Schema:
    properties = js.properties_of(TreatmentPurchases)
    shown = ("order", "line", "ordered_on", "product", "quantity", "condition", "seller")
    return js.record(
        {
            **{name: properties[name] for name in shown},
            "kind": js.or_null(js.word("System or cartridge.", codes.TREATMENT_KINDS)),
            "fits": js.or_null(js.text("The system that a cartridge is for.")),
            "approved_seller": js.flag("Whether the unit's terms approve the seller."),
            "bought_new": js.flag("Whether it was bought new."),
        }
    )
