"""Where the cause points to a reading taken at start-up, that reading was within the terms.

Looked at is the start-up completed last by the failure date. Without a report, a value or a limit
there is nothing to evaluate; level and under a hood are sound when yes. A gas pressure takes the
limit of the gas that the report names.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.conditions.gates import CAUSE
from pipelines.coverage.declarations import Clause, ConditionHelp, Fact
from pipelines.coverage.evidence import Evidence, citation
from pipelines.coverage.findings import ALWAYS, Case, judged
from pipelines.terms import Terms
from pipelines.water.limits import number_text
from schemas import codes

YES_NO = ("level", "under_hood")
READING_WORDS = {
    "flowing_pressure_psi": "flowing water pressure (psi)",
    "static_pressure_psi": "static water pressure (psi)",
    "supply_temperature_f": "supply temperature (°F)",
    "gas_pressure_in_wc": "gas pressure (inches of water)",
    "drain_air_gap_in": "drain air gap (inches)",
    "side_clearance_in": "side clearance (inches)",
    "level": "standing level",
    "under_hood": "standing under a hood",
    "water_lines": "number of water lines",
}


def _names_a_reading() -> pl.Expr:
    return pl.col("reading").is_not_null()


def _with_reading(claims: pl.DataFrame, evidence: Evidence, terms: Terms) -> pl.DataFrame:
    """Adds the reading that the cause names, its report's day and citation, and its limits."""
    asking = claims.filter(_names_a_reading()).select(
        "claim", "serial", "failed_on", "reading", "edition", "family"
    )
    value = pl.coalesce(
        pl.when(pl.col("reading") == name).then(pl.col(name).cast(pl.Float64))
        for name in codes.READINGS
    )
    # 14: a gas pressure takes the limit of the report's gas; all other limits have none.
    by_gas = pl.when(pl.col("reading") == "gas_pressure_in_wc").then("report_gas")
    latest = (
        asking.join(
            evidence.startups.select(
                "serial",
                "report",
                *codes.READINGS,
                reading_on="completed_on",
                report_gas="gas",
                reading_source=citation("startups"),
            ),
            on="serial",
        )
        # 14: the latest completed_on ≤ d, then the greatest report.
        .filter(pl.col("reading_on") <= pl.col("failed_on"))
        .sort("claim", "reading_on", "report")
        .unique("claim", keep="last")
    )
    readings = (
        latest.with_columns(reading_value=value, gas=by_gas)
        .join(
            terms.installation_limits.rename({"min": "reading_min", "max": "reading_max"}),
            on=["edition", "family", "reading", "gas"],
            how="left",
            nulls_equal=True,
        )
        .select("claim", *READING.columns)
    )
    return claims.join(readings, on="claim", how="left", maintain_order="left")


READING = Fact(
    ("reading_on", "reading_value", "reading_min", "reading_max", "reading_source"),
    _with_reading,
    _names_a_reading,
)
CLAUSE = Clause(14, terms=("installation.limits",))
FACTS = (READING,)

HELP = ConditionHelp(
    looks_at="the reading of the unit's latest start-up report that the cause names",
    outcomes={
        "met": "it is within its limits, the bounds included",
        "unmet": "it is outside",
        "not_needed": "the cause names no reading",
        "not_evaluated": (
            "the unit is not on the register, or no edition of the terms applies to it, or the "
            "cause is not established, or there is no report, value or limit"
        ),
    },
    reads=("installation.limits",),
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from the reading that the cause names, and its limits."""
    value, low, high = pl.col("reading_value"), pl.col("reading_min"), pl.col("reading_max")
    words = pl.col("reading").replace_strict(READING_WORDS, default=pl.col("reading"))
    yes_no = pl.col("reading").is_in(YES_NO)
    limits = pl.concat_str(
        pl.format("at least {}", number_text(low)),
        pl.format("at most {}", number_text(high)),
        separator=" and ",
        ignore_nulls=True,
    )
    measured = pl.format(
        "At the start-up of {} the {} was {}", "reading_on", words, number_text(value)
    )
    # 14: bounds included; a missing bound does not bind.
    outside = (value < low).fill_null(False) | (value > high).fill_null(False)
    cases = [
        *CAUSE,
        Case(
            pl.col("reading").is_null(),
            "not_needed",
            pl.format("The cause, {}, points to no start-up reading.", "cause_words"),
        ),
        Case(
            pl.col("reading_on").is_null(),
            "not_evaluated",
            pl.format("No start-up report from before {} is on file.", "failure_words"),
        ),
        Case(
            value.is_null(),
            "not_evaluated",
            pl.format("The report of the start-up on {} lacks the {}.", "reading_on", words),
        ),
        Case(
            yes_no & (value == 1),
            "met",
            pl.format("The report of the start-up on {} says yes to {}.", "reading_on", words),
        ),
        Case(
            yes_no,
            "unmet",
            pl.format("The report of the start-up on {} says no to {}.", "reading_on", words),
        ),
        Case(
            low.is_null() & high.is_null(),
            "not_evaluated",
            pl.format("The terms set no limit for the {}.", words),
        ),
        Case(outside, "unmet", pl.format("{}; it must be {}.", measured, limits)),
        Case(ALWAYS, "met", pl.format("{}, as it must be: {}.", measured, limits)),
    ]
    return judged(claims, cases, ["reading_source"])
