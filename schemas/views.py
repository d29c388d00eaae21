"""The views: which columns of which tables they show, one definition a column.

Belongs here: names, sources and what one row is. Does not belong here: the SQL
(`pipelines.store.views`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from schemas import codes
from schemas.columns import column_names
from schemas.decisions import Decisions
from schemas.feeds import TreatmentPurchases, Units, WaterTests
from schemas.histories import UnitHistories

# The column of a table (`table.column`), or a kind, a description and what else is to be said.
Source = str | tuple[str, str, dict[str, Any]]
EVENT_WORDS = (
    "shipped",
    "purchased",
    "installed",
    "retired",
    "startup requested",
    "startup completed",
    "treatment installed",
    "water sampled",
    "treatment ordered",
    "call opened",
    "failed",
    "call completed",
    "claimed",
    "ruled",
    "credited",
)
_LINES = ("parts", "labor", "travel")


@dataclass(frozen=True)
class View:
    """One view. `always` names the sources whose column is as full here as there."""

    grain: str
    key: tuple[str, ...]
    columns: dict[str, Source]
    always: frozenset[str] = frozenset()


def _of(table: str, *names: str) -> dict[str, Source]:
    return {name: f"{table}.{name}" for name in names}


def _own(kind: str, description: str, **more: Any) -> Source:
    return kind, description, more


def _total(word: str) -> Source:
    return _own(
        "money", f"Parts, labor and travel {word} together.", unit="currency", required=True
    )


_AMOUNTS = tuple(
    f"{line}_{kind}" for kind in ("claimed", "payable", "if_covered", "standing") for line in _LINES
)
_ALL_OF_DECISIONS = frozenset(f"decisions.{name}" for name in column_names(Decisions))

_CLAIM_OVERVIEW = View(
    "One row is one claim, with what is known of its call, unit, ruling and payment.",
    ("claim",),
    {
        **_of("decisions", "claim", "call", "opened_on", "failed_on", "completed_on", "claimed_on"),
        "agency": "decisions.agency",
        "agency_name": "reference_agencies.name",
        "part": "service_calls.part",
        **_of("decisions", "cause", "cause_class", "water_related"),
        "notes": "service_calls.notes",
        **_of("decisions", "serial", "model", "family", "site", "site_name", "region"),
        **_of("units", "shipped_on", "purchased_on", "installed_on"),
        **_of("decisions", "clock_start", "edition", "severity", "verdict", "lead_reason"),
        **_of("decisions", "missing", "ruling"),
        **_of("rulings", "ruled_at", "ruled_by"),
        "ruling_reason": "rulings.reason",
        "standing": "decisions.standing",
        **_of("decisions", *_AMOUNTS),
        "total_claimed": _total("claimed"),
        "total_payable": _total("payable"),
        "total_standing": _total("standing"),
        "payment_state": "payments.state",
        **_of("payments", "total_credited", "last_credited_on"),
        "file_by": "decisions.file_by",
    },
    _ALL_OF_DECISIONS,
)
_UNIT_COLUMNS = column_names(Units)
_OF_HISTORIES = [name for name in column_names(UnitHistories) if name not in _UNIT_COLUMNS]
_UNIT_OVERVIEW = View(
    "One row is one unit, with what is on the register and what is known of it.",
    ("serial",),
    {
        **_of("units", *_UNIT_COLUMNS),
        **_of("unit_histories", *_OF_HISTORIES),
        "calls": _own("integer", "Service calls to it.", required=True),
        "repairs": _own("integer", "Of them, repairs.", required=True),
        "claims": _own("integer", "Claims for it.", required=True),
        "water_tests": _own("integer", "Water tests of it or of its site.", required=True),
        "latest_sample": _own("text", "The latest of them.", references="water_tests.sample"),
        "latest_sampled_on": _own("day", "The day it was taken."),
    },
    frozenset(f"units.{name}" for name in _UNIT_COLUMNS),
)
_UNIT_EVENTS = View(
    "One row is one event in the life of a unit, with the record that tells it.",
    ("serial", "day", "feed", "key", "event"),
    {
        "serial": _own("serial", "The unit.", required=True),
        "day": _own("day", "The day of the event.", required=True),
        "feed": _own("text", "The feed that tells it.", required=True),
        "key": _own("text", "The key of the record that tells it.", required=True),
        "event": _own("word", "What happened.", words=EVENT_WORDS, required=True),
        "file": _own("text", "The file of the record, as a path below exports/.", required=True),
        "line": _own("integer", "The line on which it begins.", required=True),
    },
)
_EVIDENCE = View(
    "One row is one record that one finding rests on.",
    ("claim", "position", "number"),
    {
        **_of("findings", "claim", "position", "condition"),
        "number": _own("integer", "The record's place in the finding, from 1.", required=True),
        "feed": _own("text", "The feed of the record.", required=True),
        "key": _own("text", "Its key; several columns are joined by dashes.", required=True),
        "file": _own("text", "Its file, as a path below exports/.", required=True),
        "line": _own("integer", "The line on which it begins.", required=True),
        "row_sha256": _own("text", "The hash of the row, as in archived_rows."),
        "arrived_on": _own("day", "The day on which its content was first read."),
    },
    frozenset(f"findings.{name}" for name in ("claim", "position", "condition")),
)
_TESTS = column_names(WaterTests)
_BOUNDS = [f"{name}_below" for name in codes.ANALYTES]
_UNIT_WATER_TESTS = View(
    "One row is one water test of one unit: by its serial, or of its site.",
    ("serial", "sample"),
    {
        "serial": "unit_samples.serial",
        "sample": "unit_samples.sample",
        **_of("water_tests", *(name for name in _TESTS if name not in ("serial", "sample"))),
        **_of("water_tests", *_BOUNDS),
        **_of("water_profiles", "profile", "needs"),
        "complete": "unit_samples.complete",
    },
    frozenset(
        {
            "unit_samples.serial",
            "unit_samples.sample",
            "unit_samples.complete",
            *(f"water_tests.{name}" for name in (*_TESTS, *_BOUNDS)),
        }
    ),
)
_BOUGHT = [name for name in column_names(TreatmentPurchases) if name != "serial"]
_UNIT_PURCHASES = View(
    "One row is one order line of treatment for one unit: by its serial, or for its site.",
    ("serial", "order", "line"),
    {
        "serial": "unit_orders.serial",
        **_of("treatment_purchases", *_BOUGHT),
        **_of("reference_treatments", "kind", "fits"),
        "abilities": "reference_treatments.removes",
        **_of("unit_orders", "approved_seller", "bought_new"),
    },
    frozenset(
        {
            "unit_orders.serial",
            "unit_orders.approved_seller",
            "unit_orders.bought_new",
            *(f"treatment_purchases.{name}" for name in _BOUGHT),
        }
    ),
)
VIEWS = {
    "evidence": _EVIDENCE,
    "claim_overview": _CLAIM_OVERVIEW,
    "unit_overview": _UNIT_OVERVIEW,
    "unit_events": _UNIT_EVENTS,
    "unit_water_tests": _UNIT_WATER_TESTS,
    "unit_purchases": _UNIT_PURCHASES,
}
