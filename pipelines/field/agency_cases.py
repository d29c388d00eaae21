"""Which repairs and claims count for which measure of the agencies.

Belongs here: the cases of each measure. Does not belong here: how agencies compare (`agencies`).
"""

from __future__ import annotations

import polars as pl

from pipelines.field.context import REPAIRS, UNKNOWN, FieldContext
from pipelines.records.repairs import repairs_of

# Where the terms of a unit set no workmanship days, a repair is followed for so long.
USUAL_WORKMANSHIP_DAYS = 90
# What a claim's decision tells of it.
CLAIM_COLUMNS = (
    "call",
    "serial",
    "family",
    "agency",
    "cause",
    "cause_class",
    "failed_on",
    "completed_on",
    "verdict",
)


def agency_repairs(
    calls: pl.DataFrame, units: pl.DataFrame, causes: pl.DataFrame, inside: pl.DataFrame
) -> pl.DataFrame:
    """Every repair call with what the measures ask of it: the columns of REPAIRS, no verdict yet.

    Args:
        calls: records of service calls.
        units: serial, family, watched_until, workmanship_days.
        causes: cause, class.
        inside: call of the failures that count (`units.time_at_risk.failures_inside`).
    """
    return (
        repairs_of(calls)
        .with_columns(
            pl.col("labor_hours", "travel_amount").cast(pl.Float64),
            inside=pl.col("call").is_in(inside["call"].implode()),
        )
        .join(units.select("serial", "family", "watched_until", "workmanship_days"), on="serial")
        .join(causes.select("cause", cause_class="class"), on="cause", how="left")
        .with_columns(pl.col("cause_class").fill_null(UNKNOWN), verdict=pl.lit(None))
        .select(pl.col(name).cast(kind) for name, kind in REPAIRS.items())
        .sort("call")
    )


def with_claims(repairs: pl.DataFrame, decisions: pl.DataFrame) -> pl.DataFrame:
    """Repairs with the verdicts of their claims, and claims on units that no register knows.

    `decisions` has claim and CLAIM_COLUMNS.
    """
    known = repairs.drop("verdict").join(
        decisions.select("claim", "verdict"), on="claim", how="left"
    )
    strangers = decisions.join(repairs, on="claim", how="anti").select(
        "claim", *CLAIM_COLUMNS, inside=pl.lit(False)
    )
    return (
        pl.concat([known, strangers], how="diagonal")
        .with_columns(pl.col("family", "cause_class").fill_null(UNKNOWN))
        .select(pl.col(name).cast(kind) for name, kind in REPAIRS.items())
        .sort("call")
    )


def measured(context: FieldContext) -> dict[str, pl.DataFrame]:
    """For each measure its cases: agency, stratum (text) and amount (0 or 1 for a share).

    returns: repairs inside the exposure, completed, of a known class, and followed for all of their
        workmanship days inside the exposure; 1 where the unit failed of the same class within them.
    labor_hours: claims of a known cause that bill any, by cause and family: how long a repair
        takes hangs on what is repaired.
    travel: claims of a known class that bill any.
    documents: all claims; 1 where the verdict waits on documents. By family alone: the cause
        itself is one of the documents that may lack.
    """
    repairs = context.repairs.filter(pl.col("agency").is_not_null())
    day = pl.col("failed_on")
    if context.since is not None:
        repairs = repairs.filter(day >= context.since)
    if context.until is not None:
        repairs = repairs.filter(day < context.until)
    claims = repairs.filter(pl.col("claim").is_not_null())
    of_class = claims.filter(pl.col("cause_class") != UNKNOWN)
    by_class, by_cause = (
        pl.format("{}/{}", kind, "family").alias("stratum") for kind in ("cause_class", "cause")
    )
    billed = {
        measure: of_class.filter(pl.col(column).is_not_null()).select(
            "agency", stratum, amount=column
        )
        for measure, column, stratum in (
            ("labor_hours", "labor_hours", by_cause),
            ("travel", "travel_amount", by_class),
        )
    }
    returned = followed_repairs(repairs, context.repairs).select(
        "agency", by_class, amount=pl.col("came_back").cast(pl.Float64)
    )
    waiting = claims.filter(pl.col("verdict").is_not_null()).select(
        "agency",
        stratum="family",
        amount=(pl.col("verdict") == "needs_evidence").cast(pl.Float64),
    )
    return {"returns": returned, **billed, "documents": waiting}


def followed_repairs(repairs: pl.DataFrame, later: pl.DataFrame) -> pl.DataFrame:
    """The repairs that were followed for all of their workmanship days, with `came_back`.

    A repair is followed where all days up to the last of its workmanship days lie inside the
    unit's exposure; others count neither as held nor as come back, so that a repair of yesterday
    does not pass for one that held. It came back where another failure of the unit inside the
    exposure, of the same cause class, lies from the day of completion to that last day (both
    included).
    `later` are the failures to look among: those of all agencies.
    """
    last = pl.col("completed_on") + pl.duration(
        days=pl.col("workmanship_days").fill_null(USUAL_WORKMANSHIP_DAYS)
    )
    known = pl.col("inside") & (pl.col("cause_class") != UNKNOWN)
    followed = repairs.filter(known & (last < pl.col("watched_until"))).with_columns(last=last)
    again = later.filter(known).select("serial", "cause_class", other="call", again_on="failed_on")
    back = (
        followed.select("call", "serial", "cause_class", "completed_on", "last")
        .join(again, on=["serial", "cause_class"])
        .filter(
            (pl.col("other") != pl.col("call"))
            & (pl.col("again_on") >= pl.col("completed_on"))
            & (pl.col("again_on") <= pl.col("last"))
        )
    )
    return followed.with_columns(came_back=pl.col("call").is_in(back["call"].implode()))
