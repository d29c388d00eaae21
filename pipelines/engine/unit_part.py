"""What is known of the units of one part, and what the figures need beside it.

Belongs here: the order of the work, slice by slice. Does not belong here: any rule.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.belonging import orders_of_units, samples_of_units
from pipelines.coverage.evidence import Evidence, seen
from pipelines.engine.ground import DECIDING, Frames, Ground, split
from pipelines.engine.groups import in_slices
from pipelines.field.agency_cases import agency_repairs
from pipelines.field.context import HISTORY_COLUMNS
from pipelines.units.time_at_risk import doubtful_exposure, failures_inside
from pipelines.units.treatment_states import cartridge_spans
from pipelines.units.unit_histories import Histories, build_histories, disputed_duplicates
from pipelines.units.upcoming import upcoming_matters

# What is coming up, but for what start-ups found: those are added by their own step.
UNIT_MATTERS = "unit_matters"
# Units worked on at a time: what stands in memory is what follows from their evidence.
SLICE_UNITS = 100_000
# The tables, each with its order.
UNIT_TABLES = {
    "unit_histories": ("serial",),
    UNIT_MATTERS: ("due_on", "serial", "matter"),
    "cartridge_spans": ("serial", "product", "start"),
    "unit_samples": ("serial", "sample"),
    "unit_orders": ("serial", "order", "line"),
    "exposure_units": ("serial",),
    "exposure_failures": ("call",),
    "treatment_states": ("serial", "from_day"),
    "doubtful_exposure": ("serial",),
    "agency_repairs": ("call",),
    "waters_in_force": ("serial", "from_on"),
    "watch_spans": ("serial", "from_on"),
}


def unit_part(ground: Ground, frames: Frames) -> dict[str, pl.DataFrame]:
    """The tables of `UNIT_TABLES` for the units in the records, each in its order.

    Args:
        frames: the records of whole groups, by DECIDING.
    """
    records = {feed: frames[feed] for feed in DECIDING}
    slices = in_slices(records["units"].height, SLICE_UNITS)
    made = [_tables(ground, some) for some in split(records, slices)]
    return put_together(made)


def put_together(made: list[dict[str, pl.DataFrame]]) -> dict[str, pl.DataFrame]:
    """The tables of several parts, or slices, as one would have them."""
    return {
        name: pl.concat(tables[name] for tables in made).sort(order, maintain_order=True)
        for name, order in UNIT_TABLES.items()
    }


def _tables(ground: Ground, records: Frames) -> dict[str, pl.DataFrame]:
    evidence = seen(ground.evidence(records))
    histories = build_histories(
        evidence,
        ground.terms,
        duty_hours_per_day=ground.values.duty_hours_per_day,
        tanks_l=ground.values.tanks_l,
        lots=ground.frames["lots"],
    )
    return {
        "unit_histories": histories.table,
        UNIT_MATTERS: upcoming_matters(evidence, histories),
        "cartridge_spans": cartridge_spans(histories.covers, evidence.as_of),
        "unit_samples": samples_of_units(histories.units, evidence.water_tests, ground.terms),
        "unit_orders": orders_of_units(
            histories.units, evidence.treatment_purchases, evidence.treatments, ground.terms
        ),
        **_exposure(evidence, histories),
    }


def _exposure(evidence: Evidence, histories: Histories) -> dict[str, pl.DataFrame]:
    """What the figures need."""
    units, calls = histories.units, evidence.service_calls
    duplicates = disputed_duplicates(evidence, histories)
    failures = failures_inside(units, calls, evidence.causes, duplicates)
    return {
        "exposure_units": units.select("serial", "site", "edition", *HISTORY_COLUMNS),
        "exposure_failures": failures,
        "treatment_states": histories.states,
        "doubtful_exposure": doubtful_exposure(
            evidence.units, units, calls, duplicates, evidence.as_of
        ),
        "agency_repairs": agency_repairs(calls, units, evidence.causes, failures),
        "waters_in_force": histories.waters,
        "watch_spans": histories.spans,
    }
