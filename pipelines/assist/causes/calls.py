"""The repair calls with all that may speak for a cause.

Belongs here: choosing calls and joining what is known of them. Does not belong here: words of notes
(`words`), or what follows from any of it.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.evidence import Evidence
from pipelines.records.repairs import is_repair
from schemas import codes
from schemas.columns import TEXTS

# Start-up readings that are sound when yes; of the others the terms give limits.
_YES_NO = ("level", "under_hood")

# One row is one repair call. `cause_class` is null where no cause is booked or a catch-all, which
# `catch_all` tells. `site` is the unit's site, else its serial. `readings` are the readings of the
# start-up before that were outside the terms.
CALLS = pl.Schema(
    {
        "call": pl.String(),
        "claim": pl.String(),
        "serial": pl.String(),
        "opened_on": pl.Date(),
        "site": pl.String(),
        "cause": pl.String(),
        "cause_class": pl.String(),
        "catch_all": pl.Boolean(),
        "part": pl.String(),
        "notes": pl.String(),
        "readings": pl.List(pl.String),
    }
)


def repair_calls(
    evidence: Evidence, units: pl.DataFrame, installation_limits: pl.DataFrame
) -> pl.DataFrame:
    """All repair calls in the shape of CALLS, by call, whatever the order of the records.

    Args:
        evidence: what is seen as of its as-of date.
        units: serial, edition and family of each unit.
        installation_limits: of the terms, by edition, family, reading and gas.
    """
    causes = evidence.causes.select(
        "cause", class_of="class", catch_all=pl.col("catch_all").fill_null(False)
    )
    sites = evidence.units.select("serial", "site")
    outside = _outside(evidence, units, installation_limits)
    return (
        evidence.service_calls.filter(is_repair())
        .select("call", "claim", "serial", "opened_on", "cause", "part", "notes")
        .join(causes, on="cause", how="left")
        .join(sites, on="serial", how="left")
        .join(outside, on="call", how="left")
        .with_columns(
            pl.coalesce("site", "serial").alias("site"),
            pl.col("catch_all").fill_null(False),
            pl.col("readings").fill_null(pl.lit([], dtype=TEXTS)),
            cause_class=pl.when(~pl.col("catch_all").fill_null(False)).then(pl.col("class_of")),
        )
        .select(CALLS.names())
        .sort("call")
    )


def _outside(evidence: Evidence, units: pl.DataFrame, limits: pl.DataFrame) -> pl.DataFrame:
    """call, readings: those outside the terms at the start-up completed last before the call."""
    started = (
        evidence.startups.drop_nulls("completed_on")
        .sort("serial", "completed_on", "report")
        .unique(["serial", "completed_on"], keep="last", maintain_order=True)
        .select("serial", "completed_on", "gas", *codes.READINGS)
        .sort("completed_on")
    )
    calls = evidence.service_calls.filter(is_repair()).select("call", "serial", "opened_on")
    read = (
        calls.sort("opened_on")
        .join_asof(
            started,
            left_on="opened_on",
            right_on="completed_on",
            by="serial",
            strategy="backward",
            check_sortedness=False,
        )
        .join(units.select("serial", "edition", "family"), on="serial", how="left")
        .with_columns(pl.col(name).cast(pl.Float64) for name in codes.READINGS)
        .unpivot(
            codes.READINGS,
            index=["call", "edition", "family", "gas"],
            variable_name="reading",
            value_name="value",
        )
        .drop_nulls("value")
        .with_columns(pl.when(pl.col("reading") == "gas_pressure_in_wc").then("gas").alias("gas"))
    )
    value = pl.col("value")
    unsound = pl.when(pl.col("reading").is_in(_YES_NO)).then(value == 0)
    beyond = (value < pl.col("min")).fill_null(False) | (value > pl.col("max")).fill_null(False)
    return (
        read.join(
            limits.select("edition", "family", "reading", "gas", "min", "max"),
            on=["edition", "family", "reading", "gas"],
            how="left",
            nulls_equal=True,
        )
        .filter(unsound.otherwise(beyond))
        .group_by("call")
        .agg(pl.col("reading").unique().sort().alias("readings"))
    )
