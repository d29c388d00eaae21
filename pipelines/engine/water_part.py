"""The water profile of every sample of one part.

Belongs here: the order of the work, slice by slice. Does not belong here: any rule.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.evidence import seen
from pipelines.engine.ground import DECIDING, Frames, Ground
from pipelines.engine.groups import in_slices
from pipelines.water.profiles import profile_samples
from schemas.feeds import record_schema

# Samples worked on at a time.
SLICE_SAMPLES = 250_000


def water_part(ground: Ground, frames: Frames) -> dict[str, pl.DataFrame]:
    """The table `water_profiles`, by sample.

    Args:
        frames: `water_tests` of whole groups; `units` (serial, site, edition, family) of these
            groups; where the figures of some samples are known, `known` (sample, FIGURES).
    """
    nothing = {feed: record_schema(feed).to_frame() for feed in DECIDING}
    evidence = ground.evidence({**nothing, "water_tests": frames["water_tests"]})
    tests = seen(evidence).water_tests
    made = [
        profile_samples(
            tests.slice(number * SLICE_SAMPLES, SLICE_SAMPLES),
            frames["units"].select("serial", "site", "edition", "family"),
            ground.terms.water_limits,
            ground.terms.values,
            calcium_share_of_hardness=ground.values.calcium_share_of_hardness,
            conductivity_to_tds=ground.values.conductivity_to_tds,
            known=frames.get("known"),
        )
        for number in range(in_slices(tests.height, SLICE_SAMPLES))
    ]
    return {"water_profiles": pl.concat(made).sort("sample", maintain_order=True)}
