"""A unit that scales was delimed often enough, from the start of its clock to the failure.

Where a technician must do it, only a technician's delimings count, and the company logs them; the
owner keeps a log of his own, so its absence here is never more than unknown. A unit that carries on
the clock of another came clean, so its own clock counts here.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.calendar_days import add_days, add_months, days_words, months_words
from pipelines.coverage.conditions.gates import WATER
from pipelines.coverage.declarations import CLOCK_KEYS, Clause, ConditionHelp, Fact
from pipelines.coverage.evidence import Evidence, citation
from pipelines.coverage.findings import ALWAYS, Case, judged
from pipelines.terms import Terms

TECHNICIANS_REPORT = "technician's deliming reports"
OWNERS_LOG = "the owner's deliming log"


def _is_to_be_delimed() -> pl.Expr:
    return (pl.col("cause_class") == "scale") & (pl.col("delime_by") != "none")


def _with_delimings(claims: pl.DataFrame, evidence: Evidence, terms: Terms) -> pl.DataFrame:
    """Adds the citations of the delimings that count, between the clock's start and the failure;
    and of the first gap that is too long (null without): its two ends and the day in between by
    which the next was due."""
    asking = claims.filter(_is_to_be_delimed()).select(
        "claim",
        "serial",
        "own_clock_start",
        "failed_on",
        "delime_by",
        "delime_months",
        "delime_grace_days",
    )
    # 20: "where delime_by = technician only those performed_by = technician".
    counts = (pl.col("delime_by") != "technician") | (pl.col("performed_by") == "technician")
    done = (
        asking.join(
            evidence.service_calls.filter(pl.col("kind") == "delime").select(
                "serial", "performed_by", on="completed_on", source=citation("service_calls")
            ),
            on="serial",
        )
        .filter(
            (pl.col("on") >= pl.col("own_clock_start"))
            & (pl.col("on") <= pl.col("failed_on"))
            & counts.fill_null(False)
        )
        .select("claim", "on", "source", turn=pl.lit(1))
    )
    # 20: dates = clock, those, d; the two ends are held to the same gap as the calls between.
    ends = [
        asking.select("claim", on=name, source=pl.lit(None, pl.String), turn=pl.lit(turn))
        for name, turn in (("own_clock_start", 0), ("failed_on", 2))
    ]
    dates = pl.concat([done, *ends]).filter(pl.col("on").is_not_null())
    due = add_days(
        add_months(pl.col("delimed_before"), pl.col("delime_months")), pl.col("delime_grace_days")
    )
    late = pl.col("on") > pl.col("delime_due_on")
    gaps = (
        dates.sort("claim", "turn", "on", "source")
        .with_columns(delimed_before=pl.col("on").shift(1).over("claim"))
        .join(
            asking.select("claim", "delime_months", "delime_grace_days"),
            on="claim",
            maintain_order="left",
        )
        .with_columns(delime_due_on=due)
        .group_by("claim", maintain_order=True)
        .agg(
            pl.col("delimed_before", "delime_due_on").filter(late).first(),
            delimed_next=pl.col("on").filter(late).first(),
            delime_sources=pl.col("source").drop_nulls().sort(),
        )
    )
    return claims.join(gaps, on="claim", how="left", maintain_order="left")


DELIMINGS = Fact(
    ("delime_sources", "delimed_before", "delime_due_on", "delimed_next"),
    _with_delimings,
    _is_to_be_delimed,
)
CLAUSE = Clause(20, terms=("maintenance.delime_months", "maintenance.delime_grace_days"))
FACTS = (DELIMINGS,)

HELP = ConditionHelp(
    looks_at=(
        "deliming calls of the unit from the start of its warranty to the failure, where the cause"
        " is scale"
    ),
    outcomes={
        "met": "no gap between them is too long",
        "unmet": "one is, a technician must do it, and the calls on file reach the failure date",
        "unknown": "one is, and the owner's log, or calls that are not on file, may tell",
        "not_needed": (
            "the cause is not related to water, or the model needs no water treatment; or the "
            "cause is not scale, or the model is not delimed"
        ),
        "not_evaluated": (
            "the unit is not on the register, or no edition of the terms applies to it, or the "
            "cause is not established"
        ),
    },
    reads=("maintenance.delime_months", "maintenance.delime_grace_days", *CLOCK_KEYS),
    documents=(TECHNICIANS_REPORT, OWNERS_LOG),
)


def judge(claims: pl.DataFrame, evidence: Evidence) -> pl.DataFrame:
    """Findings from the first gap between delimings that is too long."""
    technician = pl.col("delime_by") == "technician"
    complete = evidence.complete_to("service_calls") >= pl.col("failed_on")
    late = pl.format(
        "After {} the next deliming by the {} was due by {} with grace; none came before {}",
        "delimed_before",
        "delime_by",
        "delime_due_on",
        "delimed_next",
    )
    cases = [
        *WATER,
        Case(
            pl.col("cause_class") != "scale",
            "not_needed",
            pl.format("The cause, {}, is not scale.", "cause_words"),
        ),
        Case(
            pl.col("delime_by") == "none",
            "not_needed",
            pl.format("Model {} is not delimed.", "model"),
        ),
        Case(
            pl.col("delime_due_on").is_null(),
            "met",
            pl.format(
                "Delimed at least every {}, {} of grace included, up to {}.",
                months_words("delime_months"),
                days_words("delime_grace_days"),
                "failure_words",
            ),
        ),
        Case(technician & complete, "unmet", pl.format("{}.", late)),
        Case(
            technician,
            "unknown",
            pl.format("{}; the calls do not reach {}.", late, "failure_words"),
            TECHNICIANS_REPORT,
        ),
        # 20: the owner's log is not ours, so silence is never unmet, whatever the through date.
        Case(ALWAYS, "unknown", pl.format("{}; the owner's log may tell.", late), OWNERS_LOG),
    ]
    return judged(claims, cases, ["delime_sources"])
