"""Computes what is known of units and waters from the store's records, a part of the fleet a time.

Belongs here: reading, calling, handing on, and keeping the memory small. Does not belong here: any
rule.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

import duckdb
import polars as pl

from pipelines.coverage.belonging import orders_of_units, samples_of_units
from pipelines.coverage.evidence import Evidence, seen
from pipelines.field.agency_cases import agency_repairs
from pipelines.field.context import HISTORY_COLUMNS
from pipelines.steps.reference import REFERENCE_ASSETS
from pipelines.steps.step import Step, Written
from pipelines.store.database import LAST, has_table, read_frame
from pipelines.store.evidence import DECIDING, evidence_around, fleet_parts, load_evidence
from pipelines.store.inputs import Inputs
from pipelines.store.invalidation import samples_to_work_out
from pipelines.store.transaction import RefreshSession
from pipelines.units.time_at_risk import doubtful_exposure, failures_inside
from pipelines.units.treatment_states import cartridge_spans
from pipelines.units.unit_histories import Histories, build_histories, disputed_duplicates
from pipelines.units.upcoming import upcoming_matters
from pipelines.water.profiles import FIGURES, profile_samples
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
# What is coming up, but for what start-ups found: those are added by their own step.
UNIT_MATTERS = "unit_matters"
# Units and samples worked on at a time: what stands in memory is their evidence.
PART_UNITS, SLICE_SAMPLES = 100_000, 250_000


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
    frames = unit_tables_of(session.inputs, session.con)
    for name in STEP.tables:
        if name in wanted:
            session.put(session.write(name, frames.pop(name), STEP.table_class(name)))
            yield Written(name)


def unit_tables_of(inputs: Inputs, con: duckdb.DuckDBPyConnection) -> dict[str, pl.DataFrame]:
    """All tables of units as of the as-of date, by name."""
    tables, upcoming, spans, watched, samples, orders = [], [], [], [], [], []
    for evidence, histories in _parts(inputs, con):
        tables.append(histories.table)
        upcoming.append(upcoming_matters(evidence, histories))
        spans.append(cartridge_spans(histories.covers, inputs.as_of))
        samples.append(samples_of_units(histories.units, evidence.water_tests, inputs.terms))
        orders.append(
            orders_of_units(
                histories.units, evidence.treatment_purchases, evidence.treatments, inputs.terms
            )
        )
        watched.append(_watched(evidence, histories))
    exposure = _together(watched)
    return {
        "unit_histories": pl.concat(tables).sort("serial"),
        UNIT_MATTERS: pl.concat(upcoming).sort("due_on", "serial", "matter"),
        "cartridge_spans": pl.concat(spans).sort("serial", "product", "start"),
        "unit_samples": pl.concat(samples).sort("serial", "sample"),
        "unit_orders": pl.concat(orders).sort("serial", "order", "line"),
        **{table: getattr(exposure, name) for table, name in EXPOSURE.items()},
    }


def stored_exposure(con: duckdb.DuckDBPyConnection) -> Watched:
    """What the figures need of the units, as the step of units left it."""
    return Watched(**{name: read_frame(con, table) for table, name in EXPOSURE.items()})


def watched_units(inputs: Inputs, con: duckdb.DuckDBPyConnection) -> Watched:
    """What the figures need, without the tables."""
    return _together([_watched(*part) for part in _parts(inputs, con)])


def water_table(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """The water samples; those whose record and inputs are as they were are carried over."""
    del wanted  # one table
    columns = ["serial", "site", "edition", "family"]
    units = read_frame(session.con, "unit_histories", columns=columns)
    writer = session.writer("water_profiles", WaterProfiles)
    for part in water_profiles_of(session.inputs, session.con, units, known_figures(session)):
        writer.add(part)
    session.put(writer)
    yield Written("water_profiles")


def water_profiles_of(
    inputs: Inputs,
    con: duckdb.DuckDBPyConnection,
    units: pl.DataFrame,
    known: pl.DataFrame | None = None,
) -> Iterator[pl.DataFrame]:
    """The table `water_profiles` in slices, by sample; at least one.

    Args:
        units: serial, site, edition, family of all units.
        known: of `known_figures`.
    """
    tests = seen(load_evidence(inputs, con, only=["water_tests"])).water_tests
    for start in range(0, max(tests.height, 1), SLICE_SAMPLES):
        yield profile_samples(
            tests.slice(start, SLICE_SAMPLES),
            units.select("serial", "site", "edition", "family"),
            inputs.terms.water_limits,
            inputs.terms.values,
            calcium_share_of_hardness=inputs.settings.calcium_share_of_hardness,
            conductivity_to_tds=inputs.settings.conductivity_to_tds,
            known=known,
        )


def known_figures(session: RefreshSession) -> pl.DataFrame | None:
    """The figures of samples that the published store has of the same records; None: of none."""
    anew = samples_to_work_out(session)
    if anew is None or not has_table(session.con, f"{LAST}.water_profiles"):
        return None
    told = read_frame(session.con, f"{LAST}.water_profiles", columns=["sample", *FIGURES])
    schema = polars_schema(WaterProfiles)
    return told.join(anew, on="sample", how="anti").cast(
        {name: schema[name] for name in told.columns}
    )


def _parts(inputs: Inputs, con: duckdb.DuckDBPyConnection) -> Iterator[tuple[Evidence, Histories]]:
    """What is seen of each part of the fleet, and its histories."""
    for serials in fleet_parts(con, PART_UNITS):
        evidence = seen(evidence_around(inputs, con, serials))
        histories = build_histories(
            evidence,
            inputs.terms,
            duty_hours_per_day=inputs.settings.duty_hours_per_day,
            tanks_l=inputs.settings.tanks_l,
            lots=inputs.reference.lots,
        )
        yield evidence, histories.of(serials)


def _watched(evidence: Evidence, histories: Histories) -> Watched:
    units = histories.units
    duplicates = disputed_duplicates(evidence, histories)
    failures = failures_inside(units, evidence.service_calls, evidence.causes, duplicates)
    return Watched(
        units.select("serial", "site", "edition", *HISTORY_COLUMNS),
        failures,
        histories.states,
        doubtful_exposure(
            evidence.units, units, evidence.service_calls, duplicates, evidence.as_of
        ),
        agency_repairs(evidence.service_calls, units, evidence.causes, failures),
        histories.waters,
        histories.spans,
    )


def _together(parts: list[Watched]) -> Watched:
    """The parts as one, in the order in which a single part would have them."""

    def whole(name: str, *order: str) -> pl.DataFrame:
        frames: list[pl.DataFrame] = [getattr(part, name) for part in parts]
        return pl.concat(frames).sort(order)

    return Watched(
        whole("units", "serial"),
        whole("failures", "call"),
        whole("states", "serial", "from_day"),
        whole("doubtful", "serial"),
        whole("repairs", "call"),
        whole("waters", "serial", "from_on"),
        whole("spans", "serial", "from_on"),
    )


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
    rooms=(*_ROOMS, "pipelines/field", "pipelines/steps/units.py"),
)
WATERS = Step(
    name="water_table",
    group="histories",
    title="Waters",
    tables={"water_profiles": WaterProfiles},
    reads=("water_tests", "feed_states", "unit_histories", "terms_values", "terms_water_limits"),
    work=water_table,
    rooms=(*_ROOMS, "pipelines/steps/units.py"),
)
