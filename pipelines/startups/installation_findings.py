"""Every reading of every completed start-up report, against the terms of its unit.

Belongs here: which readings are looked at and what each comes to. Does not belong here: what a
report comes to (`startup_reviews`), and claims (`conditions.installation_sound`).
"""

from __future__ import annotations

import polars as pl

from pipelines.coverage.treatment import first_fitted
from pipelines.startups.readings import READINGS
from pipelines.startups.reviewed_units import Reviewed
from pipelines.terms.shape import BURNED_GASES, GAS_READING, YES_NO_READINGS
from pipelines.water.limits import number_text
from schemas import codes
from schemas.columns import polars_schema
from schemas.startups import InstallationFindings

POSITION = {name: place for place, name in enumerate(codes.REPORTED)}
TOLD_ONLY = ("gas", "sample_taken")  # no limit ever: reported or not
MOST_LINES = 2


def completed_reports(look: Reviewed) -> pl.DataFrame:
    """The completed start-up reports of units on the register, with their unit's columns."""
    unit = look.units.drop("retired_on", "replaces")
    return look.evidence.startups.filter(pl.col("completed_on").is_not_null()).join(
        unit, on="serial"
    )


def installation_findings(look: Reviewed, reports: pl.DataFrame) -> pl.DataFrame:
    """The table `installation_findings`, by report and the order of the readings.

    Args:
        look: the units, with their terms.
        reports: of `completed_reports`.
    """
    fitted = first_fitted(look.units, look.evidence)
    asked = reports.join(fitted, on="serial", how="left", maintain_order="left").with_columns(
        must=pl.col("must_report").fill_null(pl.lit([], pl.List(pl.String))),
        two_lines=_needs_two_lines(),
    )
    rows = pl.concat(_of_reading(asked, name, look) for name in codes.REPORTED)
    return (
        rows.with_columns(outcome=_outcome())
        .with_columns(sentence=_sentence(), caution=_word("caution"), unit=_word("unit"))
        .sort("report", pl.col("reading").replace_strict(POSITION, return_dtype=pl.Int8))
        .select(polars_schema(InstallationFindings).names())
    )


def _needs_two_lines() -> pl.Expr:
    """Whether the supply is too warm for one line, or the water is treated; no without terms."""
    warm = pl.col("supply_temperature_f") > pl.col("two_lines_above_f")
    treated = pl.col("treatment_product").is_not_null() | (
        pl.col("fitted_on") <= pl.col("completed_on")
    ).fill_null(False)
    return warm.fill_null(False) | (pl.col("two_lines_when_treated") & treated).fill_null(False)


def _of_reading(reports: pl.DataFrame, name: str, look: Reviewed) -> pl.DataFrame:
    """The rows of one reading: the report's value beside its limits."""
    kind = reports.schema[name]
    yes_no = pl.when(pl.col(name)).then(pl.lit("yes")).when(~pl.col(name)).then(pl.lit("no"))
    value = yes_no if kind == pl.Boolean else pl.col(name)
    number = pl.lit(None, pl.Float64) if kind in (pl.Boolean, pl.String) else pl.col(name)
    static = pl.col("static_pressure_psi").is_not_null()
    rows = reports.select(
        "report",
        "serial",
        "edition",
        "family",
        "gas",
        "two_lines",
        must=pl.col("must").list.contains(name),
        reading=pl.lit(name),
        value=number_text(value),
        number=number.cast(pl.Float64),
        only_static=static if name == "flowing_pressure_psi" else pl.lit(False),
    )
    gas = pl.col("gas") if name == GAS_READING else pl.lit(None, pl.String)
    limits = look.terms.installation_limits.filter(pl.col("reading") == name).select(
        "edition", "family", of_gas="gas", limit_min="min", limit_max="max"
    )
    return (
        rows.with_columns(of_gas=gas)
        .join(limits, on=["edition", "family", "of_gas"], how="left", nulls_equal=True)
        .pipe(_two_lines if name == "water_lines" else lambda frame: frame)
        .filter(_is_looked_at(name))
        .drop("edition", "family", "of_gas", "two_lines")
    )


def _two_lines(rows: pl.DataFrame) -> pl.DataFrame:
    least = pl.when("two_lines").then(float(MOST_LINES)).otherwise("limit_min")
    most = pl.when(~pl.col("two_lines")).then("limit_max")
    return rows.with_columns(limit_min=least, limit_max=most)


def _is_looked_at(name: str) -> pl.Expr:
    must = pl.col("must")
    if name == "water_lines":
        return must | pl.col("two_lines")
    if name in YES_NO_READINGS:
        return must | pl.col("value").is_not_null()
    limited = pl.col("limit_min").is_not_null() | pl.col("limit_max").is_not_null()
    if name == GAS_READING:
        return (must | limited) & pl.col("gas").is_in(BURNED_GASES).fill_null(False)
    return must | limited


def _outcome() -> pl.Expr:
    reading, number = pl.col("reading"), pl.col("number")
    low, high = pl.col("limit_min"), pl.col("limit_max")
    outside = (number < low).fill_null(False) | (number > high).fill_null(False)
    burns = pl.col("gas").is_in(BURNED_GASES).fill_null(False)
    return (
        pl.when(pl.col("value").is_null())
        .then(pl.lit("not_reported"))
        .when(reading.is_in(TOLD_ONLY))
        .then(pl.lit("reported"))
        .when(reading.is_in(YES_NO_READINGS) & (pl.col("value") == "yes"))
        .then(pl.lit("sound"))
        .when((reading == "under_hood") & ~burns)
        .then(pl.lit("to_check"))
        .when(reading.is_in(YES_NO_READINGS) | outside)
        .then(pl.lit("unsound"))
        .when(low.is_null() & high.is_null())
        .then(pl.lit("reported"))
        .otherwise(pl.lit("sound"))
    )


def _word(part: str) -> pl.Expr:
    """What `READINGS` tells of the row's reading."""
    words = {name: getattr(told, part) for name, told in READINGS.items()}
    return pl.col("reading").replace_strict(words, return_dtype=pl.String)


def _sentence() -> pl.Expr:
    name = _word("words")
    value = pl.concat_str("value", _word("unit"), separator=" ", ignore_nulls=True)
    limits = pl.concat_str(
        pl.format("at least {}", number_text(pl.col("limit_min"))),
        pl.format("at most {}", number_text(pl.col("limit_max"))),
        separator=" and ",
        ignore_nulls=True,
    )
    outcome, yes_no = pl.col("outcome"), pl.col("reading").is_in(YES_NO_READINGS)
    return (
        pl.when((outcome == "not_reported") & pl.col("only_static"))
        .then(
            pl.format(
                "The {} is not reported: only the static pressure was written down, and pressure "
                "is judged while water flows.",
                name,
            )
        )
        .when(outcome == "not_reported")
        .then(pl.format("The {} is not reported.", name))
        .when(outcome == "to_check")
        .then(pl.format("The {} is reported as no: the local code says whether one is due.", name))
        .when(outcome == "reported")
        .then(pl.format("The {} is reported: {}.", name, value))
        .when((outcome == "unsound") & yes_no)
        .then(pl.format("The {} is reported as no: {}.", name, _word("mend")))
        .when(outcome == "unsound")
        .then(pl.format("The {} is {}; it must be {}: {}.", name, value, limits, _word("mend")))
        .when(yes_no)
        .then(pl.format("The {} is reported as yes.", name))
        .otherwise(pl.format("The {} is {}, as it must be: {}.", name, value, limits))
    )
