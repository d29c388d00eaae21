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
    called_for = [
        *candidates_of_dates.paper(blocked),
        *candidates_of_dates.records(blocked),
        *candidates_of_dates.windows(blocked),
        *candidates_of_water.cause(blocked, evidence),
        *candidates_of_water.treatment(blocked, evidence.treatments),
    ]
    return pl.concat([pl.DataFrame(schema=FACTS), *called_for])
