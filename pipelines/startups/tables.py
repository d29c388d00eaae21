"""All tables of start-ups, recommendations and journeys of some units.

Belongs here: the order of the work. Does not belong here: any rule, storage.
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipelines.coverage.evidence import Evidence
from pipelines.startups.held_treatment import held_treatment
from pipelines.startups.installation_faults import installation_faults
from pipelines.startups.installation_findings import (
    completed_reports,
    installation_findings,
    judged_readings,
)
from pipelines.startups.journeys import journeys
from pipelines.startups.reviewed_units import reviewed
from pipelines.startups.startup_reviews import startup_reviews
from pipelines.startups.treatment_recommendations import treatment_recommendations
from pipelines.terms import Terms


def startup_tables(
    evidence: Evidence,
    terms: Terms,
    cover: pl.DataFrame,
    serials: pl.Series | None = None,
    *,
    duty_hours_per_day: float,
    tanks_l: Sequence[float],
) -> dict[str, pl.DataFrame]:
    """The tables of units, by name; all but `journey_rates`, which is of all units together.

    Args:
        evidence: what is seen as of its as-of date (`pipelines.coverage.evidence.seen`).
        terms: all editions.
        cover: serial, coverage_end, of `unit_histories`.
        serials: the units that are asked about, where the evidence holds others; None: all.
        duty_hours_per_day, tanks_l: settings, for the tank behind a membrane.
    """
    look = reviewed(evidence, terms, cover, serials)
    reports = completed_reports(look)
    readings = judged_readings(look, reports)
    reviews = startup_reviews(look, reports, readings)
    held = held_treatment(look)
    return {
        "installation_findings": installation_findings(readings),
        "startup_reviews": reviews,
        "treatment_recommendations": treatment_recommendations(
            look, held, duty_hours_per_day=duty_hours_per_day, tanks_l=tanks_l
        ),
        "journeys": journeys(look, held, reviews),
        "installation_faults": installation_faults(look, reviews),
    }
