"""What comes before a claim, for the units of one part: reviews, recommendations, journeys.

Belongs here: the order of the work, slice by slice. Does not belong here: any rule.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.evidence import seen
from pipelines.engine.ground import DECIDING, Frames, Ground, split
from pipelines.engine.groups import in_slices
from pipelines.startups.tables import startup_tables

# Units worked on at a time: what stands in memory is what follows from their evidence.
SLICE_UNITS = 100_000
# The tables, each with its order.
STARTUP_ORDER = {
    "installation_findings": ("report",),
    "startup_reviews": ("report",),
    "treatment_recommendations": ("serial",),
    "journeys": ("serial",),
    "installation_faults": ("due_on", "serial", "matter"),
}


def startup_part(ground: Ground, frames: Frames) -> dict[str, pl.DataFrame]:
    """The tables of `STARTUP_ORDER` for the units in the records, each in its order.

    Args:
        frames: the records of whole groups, by DECIDING, and `cover` (serial, coverage_end).
    """
    records = {feed: frames[feed] for feed in DECIDING}
    slices = in_slices(records["units"].height, SLICE_UNITS)
    return put_together(
        [
            startup_tables(
                seen(ground.evidence(some)),
                ground.terms,
                frames["cover"],
                some["units"]["serial"],
                duty_hours_per_day=ground.values.duty_hours_per_day,
                tanks_l=ground.values.tanks_l,
            )
            for some in split(records, slices)
        ]
    )


def put_together(made: list[dict[str, pl.DataFrame]]) -> dict[str, pl.DataFrame]:
    """The tables of several parts, or slices, as one would have them."""
    return {
        name: pl.concat(tables[name] for tables in made).sort(order, maintain_order=True)
        for name, order in STARTUP_ORDER.items()
    }
