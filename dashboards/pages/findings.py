"""What of each figure its handout shows: title, rows, order, sentence, words of the command.

Belongs here: the choice alone. Does not belong here: the pages (`handouts`).
"""

from __future__ import annotations

from typing import NamedTuple

import polars as pl

from dashboards.figures.curves import TABLE_MONTHS

ALL = "all"


class Finding(NamedTuple):
    """What of a figure its handout shows: title, rows, order, sentence, and the command's words."""

    title: str
    rows: pl.Expr
    order: tuple[str, bool] | None
    sentence_key: tuple[str, str]
    arguments: tuple[str, ...] = ()


def _of(by: str, **values: str) -> pl.Expr:
    return pl.all_horizontal(
        pl.col("by") == by, *(pl.col(name) == value for name, value in values.items())
    )


_HALF_YEARS = pl.col("months").is_in(TABLE_MONTHS)
_SHOWN = _HALF_YEARS & pl.col("shown")
FINDINGS = {
    "screen": Finding(
        "What stands out that nobody asked for",
        pl.col("low") > 1,
        ("low", True),
        (ALL, ALL),
    ),
    "alarms": Finding(
        "Alarms of families and causes",
        pl.lit(True),
        ("last_month", True),
        ("family,cause_class", ALL),
    ),
    "rates": Finding(
        "Failures per 100 unit-years, by family",
        _of("family"),
        ("rate_per_100", True),
        ("family", "any"),
        ("--by", "family"),
    ),
    "slice_rates": Finding(
        "Failures per 100 unit-years, by need of the water",
        _of("need", event="any"),
        ("rate_per_100", True),
        ("need", "any"),
    ),
    "regions": Finding(
        "Regions in water-caused failures, water, family and age allowed for",
        _of("region", event="water"),
        ("adjusted_low", True),
        ("region", "water"),
        ("--by", "region", "--event", "water"),
    ),
    "survival": Finding(
        "Units without a water-caused failure, by family",
        _of("family", event="water") & _SHOWN,
        None,
        (ALL, "water"),
        ("--by", "family", "--event", "water"),
    ),
    "standard_curves": Finding(
        "Units without a water-caused failure, by treatment",
        pl.col("by").is_in([ALL, "treatment"])
        & (pl.col("kind") == "survival")
        & (pl.col("event") == "water")
        & _HALF_YEARS,
        None,
        ("survival", "water"),
        ("--event", "water"),
    ),
    "weibull": Finding(
        "Weibull fits to first failures, by family",
        _of("family", event="any"),
        None,
        (ALL, "any"),
        ("--by", "family", "--event", "any"),
    ),
    "first_causes": Finding(
        "What the first failure is",
        _of("cause_class") & _SHOWN,
        None,
        (ALL, ALL),
        ("--by", "cause_class"),
    ),
    "repeat_failures": Finding(
        "Failures and cost a unit, by family",
        _of("family", event="any") & _SHOWN,
        None,
        ("mean_count", "any"),
        ("--by", "family", "--event", "any"),
    ),
    "treatment_ratios": Finding(
        "Rate ratios between states of the treatment",
        _of(ALL, event="water"),
        None,
        (ALL, "water"),
        ("--event", "water"),
    ),
    "treatment_effect": Finding(
        "Rates by state of the treatment",
        _of(ALL, event="water"),
        None,
        (ALL, "water"),
        ("--event", "water"),
    ),
    "cohort_ratios": Finding(
        "Each quarter of entry against what all lead to expect",
        pl.col("event") == "any",
        None,
        ("entry", "any"),
        ("--event", "any"),
    ),
    "cohorts": Finding(
        "Failures per 100 units still watched, by quarter of entry",
        _of(ALL, event="any") & _SHOWN,
        None,
        (ALL, "any"),
        ("--event", "any"),
    ),
    "costs": Finding(
        "What is payable, by cause",
        _of("cause_class"),
        ("total", True),
        ("cause_class", ALL),
        ("--by", "cause_class"),
    ),
    "agency_figures": Finding(
        "Agencies against their peers",
        pl.col("agency") != ALL,
        ("ratio", True),
        ("returns", ALL),
    ),
    "dose_bins": Finding(
        "Does the limit of hardness stand where scale begins?",
        _of(ALL, analyte="hardness_mg_l_caco3", event="scale", days="unprotected"),
        None,
        ("hardness_mg_l_caco3", "scale"),
        ("--event", "scale"),
    ),
    "warnings": Finding(
        "Families and causes under early warning, the newest months",
        pl.lit(True),
        ("month", True),
        ("family,cause_class", ALL),
    ),
}
