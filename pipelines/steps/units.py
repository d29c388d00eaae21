"""The tables of units and waters, worked out for one part of the fleet after the other.

Belongs here: reading the parts, handing them on, and writing what comes of them. Does not belong
here: any rule (`pipelines.engine.unit_part`, `water_part`).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

import duckdb
import polars as pl

from pipelines.engine.engines import Engine, LocalEngine
from pipelines.engine.ground import DECIDING
from pipelines.engine.groups import Parts
from pipelines.engine.unit_part import UNIT_MATTERS, put_together
from pipelines.steps.reference import REFERENCE_ASSETS
from pipelines.steps.step import Step, Written
from pipelines.store.database import LAST, has_table, read_frame
from pipelines.store.evidence import (
    fleet,
    ground_of,
    part_records,
    records,
)
from pipelines.store.inputs import Inputs
from pipelines.store.invalidation import samples_to_work_out
from pipelines.store.transaction import RefreshSession
from pipelines.water.profiles import FIGURES
from schemas.columns import polars_schema
from schemas.histories import UnitHistories, Upcoming, WatchSpans, WaterProfiles
from schemas.store import CartridgeSpans, UnitOrders, UnitSamples

# The tables that hold what the figures need, by the name that `Watched` has for each.
EXPOSURE = {
    "exposure_units": "units",
    "exposure_failures": "failures",
    "treatment_states": "states",
    "doubtful_exposure": "doubtful",
    "agency_repairs": "repairs",
    "waters_in_force": "waters",
    "watch_spans": "spans",
}


@dataclass(frozen=True)
class Watched:
    """What the figures need of the units, their failures and their treatment.

    units: serial, site, edition and `HISTORY_COLUMNS`; the others are of the functions that make
    the tables of `EXPOSURE`.
    """

    units: pl.DataFrame
    failures: pl.DataFrame
    states: pl.DataFrame
    doubtful: pl.DataFrame
    repairs: pl.DataFrame
    waters: pl.DataFrame
    spans: pl.DataFrame


def unit_tables(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """The tables of units as of the as-of date, and what the figures need beside them."""
    parts = fleet(session.con, session.inputs.settings.engine.parts)
    for sentence in parts.too_large():
        session.progress(f"  {sentence}")
    frames = unit_tables_of(session.inputs, session.con, session.engine, parts)
    made = [name for name in STEP.tables if name in wanted]
    session.put(*(session.write(name, frames.pop(name), STEP.table_class(name)) for name in made))
    yield from map(Written, made)


def unit_tables_of(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, engine: Engine, parts: Parts
) -> dict[str, pl.DataFrame]:
    """All tables of units as of the as-of date, by name."""
    made = engine.run("units", ground_of(inputs, con), part_records(con, parts))
    return put_together(list(made))


def stored_exposure(con: duckdb.DuckDBPyConnection) -> Watched:
    """What the figures need of the units, as the step of units left it."""
    return Watched(**{name: read_frame(con, table) for table, name in EXPOSURE.items()})


def watched_units(inputs: Inputs, con: duckdb.DuckDBPyConnection) -> Watched:
    """What the figures need, worked out in this process."""
    parts = fleet(con, inputs.settings.engine.parts)
    frames = unit_tables_of(inputs, con, LocalEngine(), parts)
    return Watched(**{name: frames[table] for table, name in EXPOSURE.items()})


def water_table(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """The water samples; those whose record and inputs are as they were are carried over."""
    del wanted  # one table
    writer = session.writer("water_profiles", WaterProfiles)
    known = known_figures(session)
    for part in water_profiles_of(session.inputs, session.con, session.engine, known):
        writer.add(part)
    writer.sort(["sample"])
    session.put(writer)
    yield Written("water_profiles")


def water_profiles_of(
    inputs: Inputs,
    con: duckdb.DuckDBPyConnection,
    engine: Engine,
    known: pl.DataFrame | None = None,
) -> Iterator[pl.DataFrame]:
    """The table `water_profiles` part by part, each by sample; at least one.

    Args:
        known: of `known_figures`.
    """
    parts = _water_parts(inputs, con, known)
    for tables in engine.run("waters", ground_of(inputs, con), parts):
        yield tables["water_profiles"]


def _water_parts(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, known: pl.DataFrame | None
) -> Iterator[dict[str, pl.DataFrame]]:
    """The water tests of each part, with the units that they may be judged by."""
    parts = fleet(con, inputs.settings.engine.parts)
    units = read_frame(con, "unit_histories", columns=["serial", "site", "edition", "family"])
    tests = records(con, "water_tests")
    placed = {"units": (units, parts.of(units)), "water_tests": (tests, parts.of(tests))}
    for part in range(parts.count):
        frames = {name: frame.filter(of == part) for name, (frame, of) in placed.items()}
        if known is not None:
            samples = frames["water_tests"].select("sample")
            frames["known"] = known.join(samples, on="sample", how="semi", maintain_order="left")
        yield frames


def known_figures(session: RefreshSession) -> pl.DataFrame | None:
    """The figures of samples that the published store has of the same records; None: of none."""
    anew = samples_to_work_out(session)
    if anew is None or not has_table(session.con, f"{LAST}.water_profiles"):
        return None
    published = read_frame(session.con, f"{LAST}.water_profiles", columns=["sample", *FIGURES])
    schema = polars_schema(WaterProfiles)
    return published.join(anew, on="sample", how="anti").cast(
        {name: schema[name] for name in published.columns}
    )


_OF_PARTS = ("pipelines/engine", "pipelines/steps/units.py")
_ROOMS = ("pipelines/units", "pipelines/coverage", "pipelines/water", "pipelines/terms")
STEP = Step(
    name="unit_tables",
    group="histories",
    title="Units",
    tables={
        "unit_histories": UnitHistories,
        UNIT_MATTERS: Upcoming,
        "cartridge_spans": CartridgeSpans,
        "unit_samples": UnitSamples,
        "unit_orders": UnitOrders,
        "exposure_units": "One row is one unit: how long it is at risk, for the field figures.",
        "exposure_failures": "One row is one failure inside the time at risk.",
        "treatment_states": "One row is one stretch of a unit in one state of its treatment.",
        "doubtful_exposure": "One row is one unit that the figures leave out for its clock start.",
        "agency_repairs": "One row is one repair call, for the figures of agencies.",
        "waters_in_force": "One row is one stretch of a unit under one water test in force.",
        "watch_spans": WatchSpans,
    },
    reads=(
        *DECIDING,
        "feed_states",
        *REFERENCE_ASSETS,
        "reference_lots",
        "terms_values",
        "terms_water_limits",
    ),
    work=unit_tables,
    rooms=(*_ROOMS, "pipelines/field", *_OF_PARTS),
)
WATERS = Step(
    name="water_table",
    group="histories",
    title="Waters",
    tables={"water_profiles": WaterProfiles},
    reads=("water_tests", "feed_states", "unit_histories", "terms_values", "terms_water_limits"),
    work=water_table,
    rooms=(*_ROOMS, *_OF_PARTS),
)
