"""The rows of a little world while it is being made.

Belongs here: full rows from the few columns that matter, and keys whose order as text is not the
order of making. Does not belong here: which rows there are.
"""

from __future__ import annotations

from datetime import date
from typing import Any

from tests.properties.oracle.draws import Draws
from tests.properties.oracle.world import FEEDS, Row

STARTUP = (
    "requested_on",
    "completed_on",
    "agency",
    "flowing_pressure_psi",
    "static_pressure_psi",
    "supply_temperature_f",
    "gas",
    "gas_pressure_in_wc",
    "drain_air_gap_in",
    "side_clearance_in",
    "level",
    "under_hood",
    "water_lines",
    "sample_taken",
    "treatment_product",
    "treatment_installed_on",
    "notes",
)
CALL = (
    "claim",
    "failed_on",
    "completed_on",
    "claimed_on",
    "agency",
    "performed_by",
    "product",
    "cause",
    "part",
    "parts_amount",
    "labor_hours",
    "labor_rate",
    "travel_amount",
    "notes",
)


class Rows:
    """All records so far, and the reference files that they name."""

    def __init__(self, draws: Draws, reference: dict[str, list[Row]]) -> None:
        self.reference = reference
        self.records: dict[str, list[Row]] = {feed: [] for feed in FEEDS}
        # Shuffled and of one to four digits: as text, 10 comes before 9.
        self._numbers = draws.sample(range(1, 4000), 3999)

    def number(self) -> str:
        """A number not used before, as text."""
        return str(self._numbers.pop())

    def name(self, prefix: str) -> str:
        """A key not used before."""
        return prefix + self.number()

    def add(self, feed: str, **row: Any) -> Row:
        """Adds a full row."""
        self.records[feed].append(row)
        return row

    def startup(self, report: str, serial: str, **given: Any) -> Row:
        """Adds a start-up report."""
        key = {"report": report, "serial": serial}
        return self.add("startups", **{**key, **dict.fromkeys(STARTUP), **given})

    def call(self, call: str, serial: str, kind: str, opened_on: date, **given: Any) -> Row:
        """Adds a service call."""
        key = {"call": call, "serial": serial, "kind": kind, "opened_on": opened_on}
        return self.add("service_calls", **{**key, **dict.fromkeys(CALL), **given})

    def neighbor(self, draws: Draws, unit: Row) -> str:
        """Another unit, mostly of the same site; the unit itself where there is none."""
        others = [u for u in self.records["units"] if u["serial"] != unit["serial"]]
        beside = [u for u in others if u["site"] is not None and u["site"] == unit["site"]]
        if beside and draws.chance(0.85):
            others = beside
        return draws.choice(others or [unit])["serial"]
