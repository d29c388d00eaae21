"""Water tests against the limits of the terms: what is outside, what that calls for, how badly.

Belongs here: chloramine, what a non-detect counts for, completeness, needs and severity. Does not
belong here: which test counts for a claim (`pipelines.coverage`), chemistry and profiles.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import reduce
from operator import or_

import polars as pl

from schemas import codes
from schemas.columns import TEXTS
from schemas.wording import NEEDS

_TERMS = ["edition", "family"]
KEY = ("sample", *_TERMS)
_BITS = {name: 1 << place for place, name in enumerate(codes.LIMITED_ANALYTES)}
_LIMITS = ("min", "max", "mild_at", "severe_at")

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


def need_words(needs: pl.Expr) -> pl.Expr:
    """The words of a list of needs, joined by commas."""
    return needs.list.eval(pl.element().replace_strict(NEEDS, default=pl.element())).list.join(", ")


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


def needs_of(
    tests: pl.DataFrame, limits: pl.DataFrame, panels: pl.DataFrame, *, in_words: bool = True
) -> pl.DataFrame:
    """What each water calls for under each edition and family, and how far it can be trusted.

    Args:
        tests: as for `against_limits`.
        limits: `Terms.water_limits`.
        panels: `Terms.values` (edition, family, panel).
        in_words: whether the phrases are wanted, which take half of the time.

    Returns:
        One row for each row of `tests`: sample, edition, family, needs (sorted abilities),
        outside (a phrase for each value outside its limit; none if not wanted), worst_ratio
        (largest value over its maximum, 0 without any), severity (mild, normal or severe),
        complete (the panel is reported), lacks (what the panel misses, sorted), chloramine_mg_l,
        chloramine_mg_l_below.
    """
    wide = _beside_limits(tests, limits)
    outside, reported = _mask(_outside), _mask(_reported)
    summary = wide.select(
        "_row",
        *KEY,
        "chloramine_mg_l",
        "chloramine_mg_l_below",
        outside_mask=outside,
        reported_mask=reported,
        worst_ratio=pl.max_horizontal(_ratio(name) for name in _BITS if name != "ph"),
        above_mild=pl.any_horizontal(pl.col(name) > _limit("mild_at", name) for name in _BITS),
        above_severe=pl.any_horizontal(pl.col(name) > _limit("severe_at", name) for name in _BITS),
    )
    none = pl.lit([], dtype=TEXTS)
    return (
        summary.join(
            _needs(summary, limits),
            on=[*_TERMS, "outside_mask"],
            how="left",
            nulls_equal=True,
            maintain_order="left",
        )
        .join(
            _lacks(summary, panels),
            on=[*_TERMS, "reported_mask"],
            how="left",
            nulls_equal=True,
            maintain_order="left",
        )
        .join(
            _phrases(wide, _passed(summary) if in_words else []),
            on="_row",
            how="left",
            maintain_order="left",
        )
        .select(
            *KEY,
            pl.col("needs", "outside").fill_null(none),
            pl.col("worst_ratio").fill_null(0.0),
            severity=pl.when(~pl.col("above_mild").fill_null(False))
            .then(pl.lit("mild"))
            .when(pl.col("above_severe"))
            .then(pl.lit("severe"))
            .otherwise(pl.lit("normal")),
            complete=pl.col("lacks").list.len() == 0,
            lacks="lacks",
            chloramine_mg_l="chloramine_mg_l",
            chloramine_mg_l_below="chloramine_mg_l_below",
        )
    )


def ratio_classes(tests: pl.DataFrame, limits: pl.DataFrame) -> pl.DataFrame:
    """How far each analyte is from its maximum, in classes, row by row as the tests.

    Takes what `needs_of` takes. Returns a column `ratio_<analyte>` for each limited analyte: 1 up
    to a half of its maximum, 2 up to it, 3 up to one and a half, 4 up to twice, 5 above; 0 where
    it has no maximum or is not known. A non-detect within the maximum counts as its bound.
    """
    wide = _beside_limits(tests, limits)
    return wide.select(_ratio_class(name).alias(f"ratio_{name}") for name in _BITS)


def _ratio_class(name: str) -> pl.Expr:
    value, below, high = pl.col(name), pl.col(f"{name}_below"), _limit("max", name)
    known_value = pl.coalesce(value, pl.when(below <= high).then(below))
    ratio = pl.when(known_value == 0).then(0.0).otherwise((known_value / high).round(9))
    above = pl.sum_horizontal((ratio > edge).cast(pl.Int8) for edge in (0.5, 1.0, 1.5, 2.0))
    return (
        pl.when(ratio.is_not_null() & high.is_not_null()).then(above + 1).otherwise(0).cast(pl.Int8)
    )


def _limit(kind: str, analyte: str) -> pl.Expr:
    return pl.col(f"{kind} {analyte}")


def _beside_limits(tests: pl.DataFrame, limits: pl.DataFrame) -> pl.DataFrame:
    """The tests with `_row`, chloramine and a column for each kind of limit of each analyte.

    A row a test and not one a test and analyte: of a million tests that is what takes the time.
    """
    terms = limits.group_by(_TERMS).agg(
        pl.col(kind).filter(pl.col("analyte") == name).first().alias(f"{kind} {name}")
        for name in _BITS
        for kind in _LIMITS
    )
    return (
        with_chloramine(tests)
        .with_row_index("_row")
        .join(terms, on=_TERMS, how="left", maintain_order="left")
    )


def _outside(name: str) -> pl.Expr:
    value = pl.col(name)
    over, under = value > _limit("max", name), value < _limit("min", name)
    return over.fill_null(False) | under.fill_null(False)


def _reported(name: str) -> pl.Expr:
    value, below, high = pl.col(name), pl.col(f"{name}_below"), _limit("max", name)
    bound = below.is_not_null() & (high.is_null() | (below <= high)).fill_null(False)
    return value.is_not_null() | bound


def _mask(judged: Callable[[str], pl.Expr]) -> pl.Expr:
    """Of which analytes it holds, as a number with one bit each."""
    return pl.sum_horizontal(judged(name).cast(pl.Int64) * bit for name, bit in _BITS.items())


def _ratio(name: str) -> pl.Expr:
    value, high = pl.col(name), _limit("max", name)
    # Also where the maximum is 0.
    ratio = pl.when(value == 0).then(0.0).otherwise((value / high).round(9))
    return pl.when(high.is_not_null()).then(ratio)


def _needs(summary: pl.DataFrame, limits: pl.DataFrame) -> pl.DataFrame:
    """What each set of analytes outside their limits calls for under each terms."""
    bit = pl.col("analyte").replace_strict(_BITS, return_dtype=pl.Int64)
    return (
        summary.select(*_TERMS, "outside_mask")
        .unique()
        .join(limits.select(*_TERMS, "needs", bit=bit), on=_TERMS)
        .filter((pl.col("outside_mask") & pl.col("bit")) > 0)
        .group_by(*_TERMS, "outside_mask")
        .agg(pl.col("needs").drop_nulls().unique().sort())
    )


def _lacks(summary: pl.DataFrame, panels: pl.DataFrame) -> pl.DataFrame:
    """What each set of reported analytes misses of the panel of each terms; null without terms."""
    names = pl.concat_list(
        pl.when((pl.col("reported_mask") & bit) > 0).then(pl.lit(name))
        for name, bit in _BITS.items()
    ).list.drop_nulls()
    return (
        summary.select(*_TERMS, "reported_mask")
        .unique()
        .join(panels.select(*_TERMS, "panel"), on=_TERMS, how="left")
        .select(
            *_TERMS, "reported_mask", lacks=pl.col("panel").list.set_difference(names).list.sort()
        )
    )


def _passed(summary: pl.DataFrame) -> list[str]:
    """The analytes of which any test is outside a limit: few, where there are few tests."""
    passed = reduce(or_, summary["outside_mask"].unique(), 0)
    return [name for name, bit in _BITS.items() if passed & bit]


def _phrases(wide: pl.DataFrame, names: list[str]) -> pl.DataFrame:
    """The phrases of what is outside its limit, by test: _row, outside; of these analytes."""
    parts = [
        wide.lazy().filter(_outside(name)).select("_row", outside=_phrase(name)) for name in names
    ]
    none = pl.DataFrame(schema={"_row": wide.schema["_row"], "outside": pl.String()})
    return pl.concat([none, *pl.collect_all(parts)]).group_by("_row").agg(pl.col("outside").sort())


def _phrase(name: str) -> pl.Expr:
    """`hardness 201 mg/L is above 100`."""
    above = pl.col(name) > _limit("max", name)
    passed = pl.when(above).then(_limit("max", name)).otherwise(_limit("min", name))
    return pl.format(
        "{} {}{} is {} {}",
        pl.lit(_WORD[name]),
        number_text(pl.col(name)),
        pl.lit(_UNIT[name]),
        pl.when(above).then(pl.lit("above")).otherwise(pl.lit("below")),
        number_text(passed),
    )
