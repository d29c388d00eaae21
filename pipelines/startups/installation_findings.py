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

_OF_REPORT = (
    "report",
    "serial",
    "requested_on",
    "completed_on",
    "agency",
    *codes.REPORTED,
    "treatment_product",
)
_OF_UNIT = (
    "serial",
    "model",
    "family",
    "site",
    "site_name",
    "region",
    "edition",
    "must_report",
    "two_lines_above_f",
    "two_lines_when_treated",
)
_OF_TERMS = (
    "edition",
    "family",
    "must_report",
    "two_lines_above_f",
    "two_lines_when_treated",
)
# What else a reading is judged by, besides its value and the terms.
_TOLD_BESIDE = {
    "flowing_pressure_psi": ("only_static",),
    GAS_READING: ("gas",),
    "under_hood": ("gas",),
    "water_lines": ("two_lines",),
}
TOLD_ONLY = ("gas", "sample_taken")  # no limit ever: reported or not
MOST_LINES = 2


def completed_reports(look: Reviewed) -> pl.DataFrame:
    """The completed start-up reports of units on the register, with their unit's columns."""
    reports = look.evidence.startups.filter(pl.col("completed_on").is_not_null())
    return reports.select(_OF_REPORT).join(look.units.select(_OF_UNIT), on="serial")


def judged_readings(look: Reviewed, reports: pl.DataFrame) -> pl.DataFrame:
    """Every reading that is looked at, with what it comes to, reading by reading.

    Args:
        look: the units, with their terms.
        reports: of `completed_reports`.

    Returns:
        The columns of `installation_findings`, and must: whether the terms ask for the reading.
    """
    fitted = first_fitted(look.units, look.evidence)
    rules = reports.select(_OF_TERMS).unique(["edition", "family"]).with_row_index("rules")
    to_judge = (
        reports.join(fitted, on="serial", how="left", maintain_order="left")
        .with_columns(
            two_lines=_needs_two_lines(), only_static=pl.col("static_pressure_psi").is_not_null()
        )
        .select(
            "report", "serial", "edition", "family", *codes.REPORTED, "two_lines", "only_static"
        )
        .join(
            rules.select("edition", "family", "rules"),
            on=["edition", "family"],
            nulls_equal=True,
            maintain_order="left",
        )
    )
    columns = polars_schema(InstallationFindings).names()
    rows = pl.concat(_of_reading(to_judge, rules, name, look) for name in codes.REPORTED)
    return rows.select(*columns, "must")


def installation_findings(readings: pl.DataFrame) -> pl.DataFrame:
    """The table `installation_findings`, of `judged_readings`."""
    return readings.drop("must")


def _needs_two_lines() -> pl.Expr:
    """Whether the supply is too warm for one line, or the water is treated; no without terms."""
    warm = pl.col("supply_temperature_f") > pl.col("two_lines_above_f")
    treated = pl.col("treatment_product").is_not_null() | (
        # A system of a later day did not stand there yet.
        pl.col("fitted_on") <= pl.col("completed_on")
    ).fill_null(False)
    return warm.fill_null(False) | (pl.col("two_lines_when_treated") & treated).fill_null(False)


def _of_reading(
    reports: pl.DataFrame, rules: pl.DataFrame, name: str, look: Reviewed
) -> pl.DataFrame:
    """The rows of one reading: the report's value beside its limits.

    What a reading comes to is worked out once for all reports that say the same of it.
    """
    alike = ["rules", *dict.fromkeys((name, *_TOLD_BESIDE.get(name, ())))]
    judged = _judged(reports.select(alike).unique().join(rules, on="rules"), name, look)
    return (
        reports.select("report", "serial", *alike)
        .join(
            judged.drop("edition", "family", "of_gas", "number", *_OF_TERMS[2:]),
            on=alike,
            nulls_equal=True,
            maintain_order="left",
        )
        .drop(alike)
    )


def _judged(kinds: pl.DataFrame, name: str, look: Reviewed) -> pl.DataFrame:
    """Each kind of report that is looked at for a reading, with what the reading comes to."""
    kind, reading = kinds.schema[name], READINGS[name]
    yes_no = pl.when(pl.col(name)).then(pl.lit("yes")).when(~pl.col(name)).then(pl.lit("no"))
    value = yes_no if kind == pl.Boolean else pl.col(name)
    number = pl.lit(None, pl.Float64) if kind in (pl.Boolean, pl.String) else pl.col(name)
    gas = pl.col("gas") if name == GAS_READING else pl.lit(None, pl.String)
    limits = look.terms.installation_limits.filter(pl.col("reading") == name).select(
        "edition", "family", of_gas="gas", limit_min="min", limit_max="max"
    )
    return (
        kinds.with_columns(
            must=pl.col("must_report").list.contains(name).fill_null(False),
            reading=pl.lit(name),
            value=number_text(value),
            number=number.cast(pl.Float64),
            of_gas=gas,
        )
        .join(limits, on=["edition", "family", "of_gas"], how="left", nulls_equal=True)
        .pipe(_two_lines if name == "water_lines" else lambda frame: frame)
        .filter(_is_looked_at(name))
        .with_columns(outcome=_outcome(name), unit=pl.lit(reading.unit, pl.String))
        .with_columns(sentence=_sentence(name), caution=pl.lit(reading.caution, pl.String))
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


def _outcome(name: str) -> pl.Expr:
    value, number = pl.col("value"), pl.col("number")
    low, high = pl.col("limit_min"), pl.col("limit_max")
    outside = (number < low).fill_null(False) | (number > high).fill_null(False)
    if name in TOLD_ONLY:
        outcome = pl.lit("reported")
    elif name in YES_NO_READINGS:
        burns = pl.col("gas").is_in(BURNED_GASES).fill_null(False)
        is_due = burns if name == "under_hood" else pl.lit(True)
        no = pl.when(is_due).then(pl.lit("unsound")).otherwise(pl.lit("to_check"))
        outcome = pl.when(value == "yes").then(pl.lit("sound")).otherwise(no)
    else:
        outcome = (
            pl.when(outside)
            .then(pl.lit("unsound"))
            .when(low.is_null() & high.is_null())
            .then(pl.lit("reported"))
            .otherwise(pl.lit("sound"))
        )
    return pl.when(value.is_null()).then(pl.lit("not_reported")).otherwise(outcome)


def _sentence(name: str) -> pl.Expr:
    reading, outcome = READINGS[name], pl.col("outcome")
    words, unit = reading.words, f" {reading.unit}" if reading.unit else ""
    limits = pl.concat_str(
        pl.format("at least {}", number_text(pl.col("limit_min"))),
        pl.format("at most {}", number_text(pl.col("limit_max"))),
        separator=" and ",
        ignore_nulls=True,
    )
    static = pl.col("only_static") if name == "flowing_pressure_psi" else pl.lit(False)
    missing = (
        pl.when(static)
        .then(
            pl.lit(
                f"The {words} is not reported: only the static pressure was written down, and "
                "pressure is judged while water flows."
            )
        )
        .otherwise(pl.lit(f"The {words} is not reported."))
    )
    if name in YES_NO_READINGS:
        forms = {
            "sound": pl.lit(f"The {words} is reported as yes."),
            "unsound": pl.lit(f"The {words} is reported as no: {reading.mend}."),
            "to_check": pl.lit(
                f"The {words} is reported as no: the local code says whether one is due."
            ),
        }
    else:
        must = f"{unit}; it must be {{}}: {reading.mend}."
        forms = {
            "sound": pl.format(f"The {words} is {{}}{unit}, as it must be: {{}}.", "value", limits),
            "unsound": pl.format(f"The {words} is {{}}{must}", "value", limits),
            "reported": pl.format(f"The {words} is reported: {{}}{unit}.", "value"),
        }
    said = missing
    for word, form in forms.items():
        said = pl.when(outcome == word).then(form).otherwise(said)
    return said
