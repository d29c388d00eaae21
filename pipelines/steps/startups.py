"""Tables of what comes before a claim: reviews of start-ups, recommendations, journeys.

Belongs here: reading what bears on each part of the fleet, carrying over what stands, and writing
the tables. Does not belong here: any rule (`pipelines.startups`), what stands
(`pipelines.store.invalidation`).

Reviews with their findings rest on records alone, so that those of units of which no record moved
are carried over. Recommendations, journeys and what is coming up move with every day.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

import duckdb
import polars as pl

from pipelines.engine.engines import Engine
from pipelines.engine.ground import DECIDING
from pipelines.engine.startup_part import STARTUP_ORDER, put_together
from pipelines.engine.unit_part import UNIT_MATTERS
from pipelines.startups.journey_rates import journey_rates
from pipelines.steps.reference import REFERENCE_ASSETS
from pipelines.steps.step import Step, Written
from pipelines.store.database import LAST, has_table, read_frame
from pipelines.store.evidence import fleet, ground_of, part_records
from pipelines.store.inputs import Inputs
from pipelines.store.invalidation import units_to_review
from pipelines.store.transaction import RefreshSession
from schemas.columns import polars_schema
from schemas.histories import Upcoming
from schemas.startups import STARTUP_TABLES, StartupReviews

FINDINGS, REVIEWS = "installation_findings", "startup_reviews"


def made_anew(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """The tables as of the as-of date."""
    known = reviews_that_stand(session)
    frames = startup_tables_of(session.inputs, session.con, session.engine, known)
    made = [name for name in STEP.tables if name in wanted]
    writers = {name: session.write(name, frames[name], STEP.table_class(name)) for name in made}
    if FINDINGS in writers:
        writers[FINDINGS].carry_over(known.select("report"), STARTUP_ORDER[FINDINGS])
    session.put(*writers.values())
    yield from map(Written, made)


def reviews_that_stand(session: RefreshSession) -> pl.DataFrame:
    """The published reviews that need not be made again; none where everything does."""
    moving = units_to_review(session)
    if moving is None or not has_table(session.con, f"{LAST}.{REVIEWS}"):
        return polars_schema(StartupReviews).to_frame()
    published = read_frame(session.con, f"{LAST}.{REVIEWS}").cast(polars_schema(StartupReviews))
    known = published.join(moving, on="serial", how="anti")
    session.progress(f"  {published.height - known.height:,} of {published.height:,} reviews move")
    return known


def startup_tables_of(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, engine: Engine, known: pl.DataFrame
) -> dict[str, pl.DataFrame]:
    """All tables of the step as of the as-of date, by name; without the findings of `known`."""
    made = engine.run("startups", ground_of(inputs, con), _parts(inputs, con, known))
    whole = put_together(list(made))
    matters = [read_frame(con, UNIT_MATTERS), whole.pop("installation_faults")]
    return {
        **whole,
        "journey_rates": journey_rates(whole["journeys"], inputs.as_of),
        "upcoming": pl.concat(matters).sort("due_on", "serial", "matter"),
    }


def _parts(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, known: pl.DataFrame
) -> Iterator[dict[str, pl.DataFrame]]:
    """The records of each part, the ends of its units' cover, and its reviews of `known`."""
    cover = read_frame(con, "unit_histories", columns=["serial", "coverage_end"])
    for part in part_records(con, fleet(con, inputs.settings.engine.parts)):
        units = part["units"].select("serial")
        of_part = {
            name: frame.join(units, on="serial", how="semi", maintain_order="left")
            for name, frame in (("cover", cover), ("known", known))
        }
        yield part | of_part


STEP = Step(
    name="startup_tables",
    group="histories",
    title="Start-ups",
    tables={**STARTUP_TABLES, "upcoming": Upcoming},
    reads=(
        *DECIDING,
        "export_files",
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
        "pipelines/store/invalidation.py",
    ),
)
