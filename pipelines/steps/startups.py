"""Tables of what comes before a claim: reviews of start-ups, recommendations, journeys.

Belongs here: reading what bears on each part of the fleet and writing the tables. Does not belong
here: any rule (`pipelines.startups`).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

import duckdb
import polars as pl

from pipelines.engine.engines import Engine
from pipelines.engine.ground import DECIDING
from pipelines.engine.startup_part import put_together
from pipelines.engine.unit_part import UNIT_MATTERS
from pipelines.startups.cartridges_due import due_while_kept_up
from pipelines.startups.journey_rates import journey_rates
from pipelines.steps.reference import REFERENCE_ASSETS
from pipelines.steps.step import Step, Written
from pipelines.store.database import read_frame
from pipelines.store.evidence import fleet, ground_of, part_records
from pipelines.store.inputs import Inputs
from pipelines.store.transaction import RefreshSession
from schemas.histories import Upcoming
from schemas.startups import STARTUP_TABLES


def made_anew(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """The tables as of the as-of date."""
    frames = startup_tables_of(session.inputs, session.con, session.engine)
    made = [name for name in STEP.tables if name in wanted]
    session.put(*(session.write(name, frames.pop(name), STEP.table_class(name)) for name in made))
    yield from map(Written, made)


def startup_tables_of(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, engine: Engine
) -> dict[str, pl.DataFrame]:
    """All tables of the step as of the as-of date, by name."""
    made = engine.run("startups", ground_of(inputs, con), _parts(inputs, con))
    whole = put_together(list(made))
    matters = due_while_kept_up(read_frame(con, UNIT_MATTERS), whole["treatment_recommendations"])
    faults = whole.pop("installation_faults")
    return {
        **whole,
        "journey_rates": journey_rates(whole["journeys"], inputs.as_of),
        "upcoming": pl.concat([matters, faults]).sort("due_on", "serial", "matter"),
    }


def _parts(inputs: Inputs, con: duckdb.DuckDBPyConnection) -> Iterator[dict[str, pl.DataFrame]]:
    """The records of each part, with the ends of its units' cover."""
    cover = read_frame(con, "unit_histories", columns=["serial", "coverage_end"])
    for part in part_records(con, fleet(con, inputs.settings.engine.parts)):
        units = part["units"].select("serial")
        ends = cover.join(units, on="serial", how="semi", maintain_order="left")
        yield part | {"cover": ends}


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
        "pipelines/engine",
        "pipelines/steps/startups.py",
    ),
)
