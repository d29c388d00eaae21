"""Facts worth a try: what could settle each condition that keeps a claim from being covered.

Belongs here: which facts a blocked condition calls for, and the day that would do. Does not belong
here: what a fact changes (`hypothetical_records`), how facts are combined (`search`), their words
(`sentences`).

A fact is asked for as it would least help besides: a water test is as old as the warranty, so that
time to fit a treatment does not excuse the rest; a day is the last (or first) that serves.
"""

from __future__ import annotations

import polars as pl

from pipelines.counterfactuals import candidates_of_dates, candidates_of_water
from pipelines.counterfactuals.candidate_facts import FACTS
from pipelines.coverage import Evidence, Judged
from pipelines.terms import Terms

# What each condition calls for where it is in the way; facts are numbered in this order.
CALLED_FOR = candidates_of_dates.CALLED_FOR | candidates_of_water.CALLED_FOR


def candidates(judged: Judged, evidence: Evidence, terms: Terms) -> pl.DataFrame:
    """The facts that every blocked condition calls for: rows of FACTS.

    Args:
        judged: of the states' copies; `claims` has `state` and `suggestion` (of the serial).
        evidence: as_of and the reference files.
        terms: all editions.
    """
    first_edition = terms.values.group_by("family").agg(first_edition_on=pl.min("effective_from"))
    wide = judged.claims.join(first_edition, on="family", how="left").with_columns(
        since=pl.min_horizontal("clock_start", "failed_on"),
        seller=pl.col("sellers").list.first(),
        as_of=pl.lit(evidence.as_of),
    )
    blocked = judged.blocking.join(wide, on="claim")
    by_condition = blocked.partition_by("condition", as_dict=True)
    # What no claim is short of is not asked about: on one claim that is nearly everything.
    called_for = [
        facts
        for name, calls_for in CALLED_FOR.items()
        if (rows := by_condition.get((name,))) is not None
        for facts in calls_for(rows, evidence)
    ]
    return pl.concat([pl.DataFrame(schema=FACTS), *called_for])
