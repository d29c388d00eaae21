"""Two stories of what happens before a claim: an agency that never levels, samples that wait.

Belongs here: changing what was written down of units whose claims do not hang on it. Does not
belong here: what follows from it for anybody.

No draw is made, and no claim rests on what is changed, so that nothing else of the sample moves.
"""

from __future__ import annotations

import polars as pl

from sample_data import AS_OF
from sample_data.quirks import Feeds

NEVER_LEVELS_AGENCY = "OTTERGARTH"  # none of whose units has a claim for standing out of level
WAITING_REGION = "US-NC"
_LEAST_DAYS, _SPREAD_DAYS, _STEP = 40, 45, 17


def plant_startup_stories(feeds: Feeds) -> None:
    """Makes an agency's reports all say that the unit is not level, and a region's results late."""
    never = (pl.col("agency") == NEVER_LEVELS_AGENCY) & pl.col("level").is_not_null()
    feeds.startups = feeds.startups.with_columns(
        level=pl.when(never.fill_null(False)).then(pl.lit("no")).otherwise("level")
    )
    feeds.water_tests = _late_results(feeds)


def _late_results(feeds: Feeds) -> pl.DataFrame:
    """Results of the region's sites without any claim come weeks later, or not yet."""
    units = feeds.units.select("serial", "region", home="site")
    claimed = feeds.service_calls.filter(pl.col("claim").is_not_null()).join(units, on="serial")
    waiting = (
        units.filter(pl.col("region") == WAITING_REGION)
        .join(claimed.select("home").unique(), on="home", how="anti")
        .select("home", late=True)
        .unique("home")
    )
    homes = units.select("serial", "home").unique("serial")
    more = _LEAST_DAYS + pl.int_range(pl.len()) * _STEP % _SPREAD_DAYS
    tests = (
        feeds.water_tests.join(homes, on="serial", how="left", maintain_order="left")
        .with_columns(home=pl.coalesce("site", "home"))
        .join(waiting, on="home", how="left", maintain_order="left")
        .with_columns(late=pl.col("late").fill_null(False))
        .with_columns(
            reported_on=pl.when("late")
            .then(pl.col("reported_on") + pl.duration(days=more))
            .otherwise("reported_on")
        )
    )
    return tests.filter(pl.col("reported_on") <= AS_OF).select(feeds.water_tests.columns)
