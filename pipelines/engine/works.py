"""What can be worked out for a part, by the name under which it is asked for.

Belongs here: the list. Does not belong here: the work itself (`unit_part` and the others).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import polars as pl

from pipelines.engine.claim_part import claim_part
from pipelines.engine.ground import Frames, Ground
from pipelines.engine.record_part import record_part, records_of
from pipelines.engine.startup_part import startup_part
from pipelines.engine.unit_part import unit_part
from pipelines.engine.water_part import water_part
from schemas.codes import FEEDS

# A pure function of what it is given: the same frames make the same tables, row by row.
Work = Callable[[Ground, Frames], dict[str, pl.DataFrame]]
WORKS: dict[str, Work] = {
    "claims": claim_part,
    "units": unit_part,
    "waters": water_part,
    "startups": startup_part,
    **{records_of(feed): partial(record_part, feed) for feed in FEEDS},
}
