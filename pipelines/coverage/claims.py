"""All claims side by side with their unit, terms, cause and agency: one wide row a claim.

Belongs here: plain look-ups. Does not belong here: which calls are claims and their failure date
(`pipelines.records.repairs`), or anything that decides.
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.clock import unit_terms
from pipelines.coverage.evidence import Evidence, citation
from pipelines.coverage.replacements import with_predecessors
from pipelines.coverage.startups import startup_facts
from pipelines.records.repairs import claims_among
from pipelines.terms import Terms

MONEY_COLUMNS = ("parts_amount", "labor_hours", "labor_rate", "travel_amount")


def claims_of(evidence: Evidence, terms: Terms) -> pl.DataFrame:
    """Every claim with what is on file about it, sorted by claim.

    `failed_on` is the failure date used (the opening date where none is given, see
    `failure_words`). The columns of unit, terms, cause and agency are null where there is none.
    """
    claims = _claim_calls(evidence.service_calls)
    units = evidence.units.join(claims, on="serial", how="semi")
    clocks = unit_terms(with_predecessors(units, evidence.units), evidence.models, terms)
    startups = evidence.startups.join(claims, on="serial", how="semi")
    return (
        claims.join(
            units.select("serial", "site_name", unit_source=citation("units")),
            on="serial",
            how="left",
        )
        .join(clocks, on="serial", how="left")
        .join(terms.values, on=["edition", "family"], how="left")
        .join(
            evidence.models.select("model", "needs_treatment", "always_treat", "delime_by"),
            on="model",
            how="left",
        )
        .join(startup_facts(startups), on="serial", how="left")
        .join(_cause_columns(evidence.causes), on="cause", how="left")
        .pipe(_with_agency, evidence.agencies)
        .sort("claim")
    )


def _claim_calls(calls: pl.DataFrame) -> pl.DataFrame:
    return (
        claims_among(calls)
        .select(
            "claim",
            "call",
            "serial",
            "opened_on",
            "completed_on",
            "claimed_on",
            "agency",
            "cause",
            "part",
            *MONEY_COLUMNS,
            "failed_on",
            "failure_stated",
            failure_words=pl.when("failure_stated")
            .then(pl.format("the failure on {}", "failed_on"))
            .otherwise(pl.format("the call of {} (no failure date is given)", "opened_on")),
            call_source=citation("service_calls"),
        )
        .with_columns(call_sources=pl.concat_list("call_source"))
    )


def _cause_columns(causes: pl.DataFrame) -> pl.DataFrame:
    return causes.select(
        "cause",
        "water_related",
        "excluded",
        "reading",
        "labor_hours_allowed",
        cause_words=pl.coalesce("description", "cause"),
        cause_class="class",
        cause_abilities="abilities",
        cause_listed=pl.lit(True),
    )


def _with_agency(claims: pl.DataFrame, agencies: pl.DataFrame) -> pl.DataFrame:
    """Adds the period of authorization in force on the day of the work, and its rates.

    agency_day is the completion, else the failure date; agency_listed tells whether agencies.csv
    knows the agency at all.
    """
    day = pl.coalesce("completed_on", "failed_on")
    dated = claims.with_columns(agency_day=day)
    until = pl.col("authorized_until")
    in_force = (
        dated.select("claim", "agency", "agency_day")
        .join(agencies, on="agency")
        .filter(
            (pl.col("authorized_from") <= pl.col("agency_day"))
            & (until.is_null() | (pl.col("agency_day") <= until))
        )
        # Periods of an agency do not overlap; were they to, the later one holds.
        .sort("authorized_from", "claim")
        .unique("claim", keep="last")
        .select(
            "claim",
            agency_rate="labor_rate",
            agency_travel_cap="travel_cap",
            agency_from="authorized_from",
            agency_until="authorized_until",
        )
    )
    listed = agencies.select("agency").unique().with_columns(agency_listed=pl.lit(True))
    return dated.join(listed, on="agency", how="left").join(in_force, on="claim", how="left")
