"""Tables of what comes before a claim: reviews of start-ups, recommendations, journeys.

Belongs here: reading what bears on each part of the fleet and writing the tables. Does not belong
here: any rule (`pipelines.startups`).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

import duckdb
import polars as pl

from pipelines.coverage.evidence import seen
from pipelines.startups.journey_rates import journey_rates
from pipelines.startups.tables import startup_tables
from pipelines.steps.reference import REFERENCE_ASSETS
from pipelines.steps.step import Step, Written
from pipelines.steps.units import UNIT_MATTERS
from pipelines.store.database import read_frame
from pipelines.store.evidence import DECIDING, evidence_around, fleet_parts
from pipelines.store.inputs import Inputs
from pipelines.store.transaction import RefreshSession
from schemas.histories import Upcoming
from schemas.startups import STARTUP_TABLES

# Units worked on at a time: what stands in memory is their evidence.
PART_UNITS = 100_000
_ORDER = {
    "installation_findings": ("report",),
    "startup_reviews": ("report",),
    "treatment_recommendations": ("serial",),
    "journeys": ("serial",),
}


def made_anew(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """The tables as of the as-of date."""
    frames = startup_tables_of(session.inputs, session.con)
    for name in STEP.tables:
        if name in wanted:
            session.put(session.write(name, frames.pop(name), STEP.table_class(name)))
            yield Written(name)


def startup_tables_of(inputs: Inputs, con: duckdb.DuckDBPyConnection) -> dict[str, pl.DataFrame]:
    """All tables of the step as of the as-of date, by name."""
    cover = read_frame(con, "unit_histories", columns=["serial", "coverage_end"])
    parts = [
        startup_tables(
            seen(evidence_around(inputs, con, serials)),
            inputs.terms,
            cover,
            serials,
            duty_hours_per_day=inputs.settings.duty_hours_per_day,
            tanks_l=inputs.settings.tanks_l,
        )
        for serials in fleet_parts(con, PART_UNITS)
    ]
    whole = {
        name: pl.concat(part[name] for part in parts).sort(order, maintain_order=True)
        for name, order in _ORDER.items()
    }
    matters = [read_frame(con, UNIT_MATTERS), *(part["installation_faults"] for part in parts)]
    return {
        **whole,
        "journey_rates": journey_rates(whole["journeys"], inputs.as_of),
        "upcoming": pl.concat(matters).sort("due_on", "serial", "matter"),
    }


STEP = Step(
    name="startup_tables",
    group="histories",
    title="Start-ups",
    tables={**STARTUP_TABLES, "upcoming": Upcoming},
    reads=(
        *DECIDING,
        "feed_states",
        *REFERENCE_ASSETS,
        "terms_values",
        "terms_water_limits",
        "terms_installation_limits",
        "unit_histories",
        UNIT_MATTERS,
    ),
    work=made_anew,
    rooms=(
        "pipelines/startups",
        "pipelines/units",
        "pipelines/coverage",
        "pipelines/water",
        "pipelines/terms",
        "pipelines/steps/startups.py",
    ),
)
