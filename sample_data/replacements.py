"""Units that took over from others at the same kitchen.

Belongs here: which units of the register are told to replace which, and that the old ones left.
Does not belong here: what that does to a warranty.

Only units are taken whose life fits already: the old one of the same family had no call after the
new one was bought, within so many days that a maker would send another. No draw is made, so
nothing else of the sample moves.
"""

from __future__ import annotations

import datetime as dt

import polars as pl

from sample_data.editions import reference
from sample_data.quirks import Feeds, Quirk

FROM = dt.date(2025, 7, 1)  # purchases from then on are under the edition that lets clocks carry on
LEAST_DAYS, MOST_DAYS = 120, 600
WITH_CLAIM, CHAINS = 2, 1


def plant_replacements(feeds: Feeds) -> Quirk:
    """Fills `replaces` of a few new units and `retired_on` of those that they replaced."""
    fitting = _fitting(feeds)
    claimed = fitting.filter("claimed").unique("serial", keep="first", maintain_order=True)
    chosen = pl.concat([claimed.head(WITH_CLAIM), _chains(fitting)]).unique(
        "serial", keep="first", maintain_order=True
    )
    links = chosen.select("serial", "replaced", "left_on")
    feeds.units = (
        feeds.units.drop("replaces")
        .join(links.select("serial", replaces="replaced"), on="serial", how="left")
        .join(links.select(serial="replaced", left_on="left_on"), on="serial", how="left")
        .with_columns(retired_on=pl.coalesce("retired_on", "left_on"))
        .drop("left_on")
    )
    return Quirk("units", "replacement", "replaces", links.height)


def _fitting(feeds: Feeds) -> pl.DataFrame:
    """Pairs of units that may be told as replacement and replaced, the earliest first."""
    families = reference("models").select("model", "family")
    last = feeds.service_calls.group_by("serial").agg(
        last_on=pl.max_horizontal("opened_on", "completed_on").max(),
        claimed=pl.col("claim").is_not_null().any(),
    )
    units = (
        feeds.units.join(families, on="model")
        .join(last, on="serial", how="left")
        .with_columns(bought_on=pl.coalesce("purchased_on", "shipped_on"))
    )
    old = units.filter(pl.col("retired_on").is_null()).select(
        "site", "family", "last_on", replaced="serial", began_on="bought_on"
    )
    days = (pl.col("bought_on") - pl.col("began_on")).dt.total_days()
    return (
        units.filter(pl.col("bought_on") >= FROM)
        .join(old, on=["site", "family"], suffix="_old")
        .filter(
            days.is_between(LEAST_DAYS, MOST_DAYS),
            (pl.col("last_on_old") < pl.col("bought_on")).fill_null(True),
        )
        .select(
            "serial",
            "replaced",
            pl.col("claimed").fill_null(False),
            "bought_on",
            left_on=pl.coalesce("installed_on", "bought_on"),
        )
        .sort("bought_on", "serial", "replaced")
    )


def _chains(fitting: pl.DataFrame) -> pl.DataFrame:
    """Both links of the first unit that replaced a replacement."""
    second = fitting.join(fitting.select(replaced="serial", first="replaced"), on="replaced").head(
        CHAINS
    )
    first = fitting.join(
        second.select(serial="replaced", replaced="first"), on=["serial", "replaced"], how="semi"
    )
    return pl.concat([first, second.select(fitting.columns)])
