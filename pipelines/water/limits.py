"""Water tests against the limits of the terms: what is outside, what that calls for, how badly.

Belongs here: chloramine, what a non-detect counts for, completeness, needs and severity. Does not
belong here: which test counts for a claim (`pipelines.coverage`), chemistry and profiles.
"""

from __future__ import annotations

import polars as pl

from schemas import codes
from schemas.columns import TEXTS

KEY = ("sample", "edition", "family")

# How an analyte is called in a sentence, and its unit there.
ANALYTE_WORDS = {
    "ph": ("pH", ""),
    "tds_mg_l": ("dissolved solids", " mg/L"),
    "conductivity_us_cm": ("conductivity", " µS/cm"),
    "hardness_mg_l_caco3": ("hardness", " mg/L"),
    "calcium_mg_l_caco3": ("calcium", " mg/L"),
    "alkalinity_mg_l_caco3": ("alkalinity", " mg/L"),
    "free_chlorine_mg_l": ("free chlorine", " mg/L"),
    "total_chlorine_mg_l": ("total chlorine", " mg/L"),
    "chloride_mg_l": ("chloride", " mg/L"),
    "sulfate_mg_l": ("sulfate", " mg/L"),
    "silica_mg_l": ("silica", " mg/L"),
    "iron_mg_l": ("iron", " mg/L"),
    "sediment_um": ("sediment", " µm"),
    "chloramine_mg_l": ("chloramine", " mg/L"),
}
_WORD = {name: word for name, (word, _) in ANALYTE_WORDS.items()}
_UNIT = {name: unit for name, (_, unit) in ANALYTE_WORDS.items()}


def number_text(value: pl.Expr) -> pl.Expr:
    """A float as it would be written: `201`, not `201.0`."""
    return value.cast(pl.String).str.strip_suffix(".0")


def analyte_words(names: pl.Expr) -> pl.Expr:
    """The words of a list of analytes, joined by commas."""
    return names.list.eval(pl.element().replace_strict(_WORD, default=pl.element())).list.join(", ")


def with_chloramine(tests: pl.DataFrame) -> pl.DataFrame:
    """Adds `chloramine_mg_l` and its bound `chloramine_mg_l_below` to water tests.

    Chloramine is total less free chlorine, never below 0. A non-detect free chlorine counts as 0;
    a non-detect total makes chloramine a non-detect with that bound, whatever the free chlorine.
    Rounding to nine places restores the difference of the decimals that were written.
    """
    free_below = pl.col("free_chlorine_mg_l_below")
    free = pl.coalesce("free_chlorine_mg_l", pl.when(free_below.is_not_null()).then(0.0))
    difference = (pl.col("total_chlorine_mg_l") - free).round(9)
    return tests.with_columns(
        chloramine_mg_l=difference.clip(lower_bound=0.0),
        chloramine_mg_l_below=pl.when(pl.col("total_chlorine_mg_l").is_null()).then(
            pl.col("total_chlorine_mg_l_below")
        ),
    )


def against_limits(tests: pl.DataFrame, limits: pl.DataFrame) -> pl.DataFrame:
    """Every value or bound of every test beside its limit: one row a test, terms and analyte.

    Args:
        tests: sample, edition, family, the analytes and their `_below` bounds; one row for each
            (sample, edition, family).
        limits: `Terms.water_limits`.

    Returns:
        The key, analyte, value, below (null unless a non-detect), min, max, needs, mild_at,
        severe_at (null without a limit), `reported` (a non-detect above its maximum is not) and
        `outside` (strictly; a non-detect never is).
    """
    tests = with_chloramine(tests)
    parts = [
        tests.select(
            *KEY,
            analyte=pl.lit(name),
            value=pl.col(name),
            below=pl.when(pl.col(name).is_null()).then(pl.col(f"{name}_below")),
        ).filter(pl.col("value").is_not_null() | pl.col("below").is_not_null())
        for name in codes.LIMITED_ANALYTES
    ]
    value, low, high = pl.col("value"), pl.col("min"), pl.col("max")
    return (
        pl.concat(parts)
        .join(limits, on=["edition", "family", "analyte"], how="left")
        .with_columns(
            reported=value.is_not_null() | high.is_null() | (pl.col("below") <= high),
            outside=(value > high).fill_null(False) | (value < low).fill_null(False),
        )
    )


def needs_of(tests: pl.DataFrame, limits: pl.DataFrame, panels: pl.DataFrame) -> pl.DataFrame:
    """What each water calls for under each edition and family, and how far it can be trusted.

    Args:
        tests: as for `against_limits`.
        limits: `Terms.water_limits`.
        panels: `Terms.values` (edition, family, panel).

    Returns:
        One row for each row of `tests`: sample, edition, family, needs (sorted abilities),
        outside (a phrase for each value outside its limit), worst_ratio (largest value over its
        maximum, 0 without any), severity (mild, normal or severe), complete (the panel is
        reported), lacks (what the panel misses, sorted), chloramine_mg_l, chloramine_mg_l_below.
    """
    keys = list(KEY)
    judged = against_limits(tests, limits)
    value, high = pl.col("value"), pl.col("max")
    ratio = (
        pl.when(pl.col("analyte") == "ph")
        .then(None)
        .when(value == 0)  # also where the maximum is 0
        .then(0.0)
        .otherwise((value / high).round(9))
    )
    summary = (
        judged.with_columns(ratio=pl.when(high.is_not_null()).then(ratio), phrase=_phrase())
        .group_by(keys)
        .agg(
            needs=pl.col("needs").filter(pl.col("outside")).drop_nulls().unique().sort(),
            outside=pl.col("phrase").filter(pl.col("outside")).sort(),
            worst_ratio=pl.col("ratio").max(),
            above_mild=(value > pl.col("mild_at")).any(),
            above_severe=(value > pl.col("severe_at")).any(),
            reported=pl.col("analyte").filter(pl.col("reported")),
        )
    )
    none = pl.lit([], dtype=TEXTS)
    lacks = pl.col("panel").list.set_difference(pl.col("reported").fill_null(none)).list.sort()
    return (
        with_chloramine(tests)
        .select(*keys, "chloramine_mg_l", "chloramine_mg_l_below")
        .join(summary, on=keys, how="left", maintain_order="left")
        .join(panels.select("edition", "family", "panel"), on=["edition", "family"], how="left")
        .select(
            *keys,
            pl.col("needs", "outside").fill_null(none),
            pl.col("worst_ratio").fill_null(0.0),
            severity=pl.when(~pl.col("above_mild").fill_null(False))
            .then(pl.lit("mild"))
            .when(pl.col("above_severe"))
            .then(pl.lit("severe"))
            .otherwise(pl.lit("normal")),
            complete=lacks.list.len() == 0,
            lacks=lacks,
            chloramine_mg_l="chloramine_mg_l",
            chloramine_mg_l_below="chloramine_mg_l_below",
        )
    )


def _phrase() -> pl.Expr:
    """`hardness 201 mg/L is above 100`."""
    above = pl.col("value") > pl.col("max")
    return pl.format(
        "{} {}{} is {} {}",
        pl.col("analyte").replace_strict(_WORD),
        number_text(pl.col("value")),
        pl.col("analyte").replace_strict(_UNIT),
        pl.when(above).then(pl.lit("above")).otherwise(pl.lit("below")),
        number_text(pl.when(above).then("max").otherwise("min")),
    )
