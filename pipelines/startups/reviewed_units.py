"""The units that are reviewed, each with its terms, its cover and its model.

Belongs here: plain look-ups for reviews, recommendations and journeys. Does not belong here: what
follows from them.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipelines.coverage.clock import unit_terms
from pipelines.coverage.evidence import Evidence
from pipelines.coverage.supply_tests import tests_of_units
from pipelines.terms import Terms

_TERMS = (
    "request_within_days",
    "sellers",
    "grace_days",
    "fresh_days",
    "cartridge_months_mild",
    "cartridge_months_normal",
    "cartridge_months_severe",
    "cartridge_grace_days",
    "look_back_months",
    "must_report",
    "two_lines_above_f",
    "two_lines_when_treated",
    "conditions_off",
)
# Before completion, for the test that goes with a start-up: samples are taken ahead of it.
SAMPLED_AHEAD_DAYS = 30


@dataclass(frozen=True)
class Reviewed:
    """What reviews, recommendations and journeys look at.

    evidence: what is seen as of its as-of date.
    terms: all editions.
    units: of `units_in_review`, by serial.
    tests: of `tests_of_units`, of the same units.
    """

    evidence: Evidence
    terms: Terms
    units: pl.DataFrame
    tests: pl.DataFrame


def reviewed(
    evidence: Evidence, terms: Terms, cover: pl.DataFrame, serials: pl.Series | None = None
) -> Reviewed:
    """The units of the register with their terms and their supply tests.

    Args:
        evidence: what is seen as of its as-of date (`pipelines.coverage.evidence.seen`).
        terms: all editions.
        cover: serial, coverage_end, of `unit_histories`.
        serials: the units that are asked about; None: all of the register.
    """
    units = units_in_review(evidence, terms, cover)
    if serials is not None:
        units = units.join(serials.to_frame("serial"), on="serial", how="semi")
    return Reviewed(evidence, terms, units, tests_of_units(units, evidence.water_tests, terms))


def units_in_review(evidence: Evidence, terms: Terms, cover: pl.DataFrame) -> pl.DataFrame:
    """Every unit of the register, by serial.

    Returns:
        The columns of `unit_terms`, site_name, coverage_end, of its terms those that reviews and
        recommendations go by (null without an edition), and of its model needs_treatment,
        always_treat and feed_l_per_h.
    """
    models = evidence.models.select("model", "needs_treatment", "always_treat", "feed_l_per_h")
    return (
        unit_terms(evidence.units, evidence.models, terms)
        .join(
            terms.values.select("edition", "family", *_TERMS), on=["edition", "family"], how="left"
        )
        .join(models, on="model", how="left")
        .join(evidence.units.select("serial", "site_name"), on="serial", how="left")
        .join(cover.select("serial", "coverage_end"), on="serial", how="left")
        .sort("serial")
    )


def in_service(look: Reviewed) -> pl.DataFrame:
    """The units whose cover has not ended and that are not retired or replaced by today."""
    today = pl.lit(look.evidence.as_of)
    gone = pl.min_horizontal("retired_on", "replaced_on") <= today
    return look.units.filter(
        (pl.col("coverage_end") > today).fill_null(False) & ~gone.fill_null(False)
    )


def earliest_test(tests: pl.DataFrame) -> pl.DataFrame:
    """Of each serial the earliest of its tests; of one day the first reported, then the least."""
    return tests.sort("serial", "test_sampled_on", "test_reported_on", "test_sample").unique(
        "serial", keep="first", maintain_order=True
    )
