"""The fates and records of one part of a feed's rows.

Belongs here: what of a part's rows is handed back. Does not belong here: any rule
(`records.settling`), which rows make a part (`store.row_parts`).
"""

from __future__ import annotations

import polars as pl

from pipelines.engine.ground import CODED, Frames, Ground
from pipelines.records.cross_checks import References
from pipelines.records.settling import settled_rows


def record_part(feed: str, ground: Ground, frames: Frames) -> dict[str, pl.DataFrame]:
    """`records` by key, `fates`, and the frames of `Ends`.

    Args:
        ground: of `Ground.of_codes`.
        frames: `rows`, as `settled_rows` takes them, and `through`.
    """
    codes = [ground.frames[name] for name in CODED]
    settled = settled_rows(feed, frames["rows"], References.of(*codes), frames["through"])
    return {"records": settled.records, "fates": settled.fates, **vars(settled.ends)}


def records_of(feed: str) -> str:
    """The name of the work that settles a feed's rows."""
    return f"{feed}_records"
