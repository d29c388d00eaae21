"""Advice for one water and one model of cooker: what it needs, what serves, what to keep up.

Belongs here: putting the parts together. Does not belong here: the parts (`advice_water`,
`advice_treatment`, `advice_generator`), text (`advice_text`), pictures, reading files.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl

from pipelines.errors import UsageError
from pipelines.water.advice_generator import deliming_lines, generator_lines
from pipelines.water.advice_parts import Advice, Duty, Line
from pipelines.water.advice_treatment import (
    cartridge_lines,
    combination_lines,
    membrane_advice,
    membranes_of,
)
from pipelines.water.advice_water import corrosion_lines, index_lines, water_lines
from pipelines.water.limits import against_limits, needs_of
from pipelines.water.profiles import profile_word, water_figures
from pipelines.water.treatment import combinations
from schemas import codes
from schemas.columns import polars_schema
from schemas.feeds import WaterTests

__all__ = ["Advice", "Duty", "Line", "advise", "typed_test"]


def typed_test(values: Mapping[str, float]) -> pl.DataFrame:
    """A water test from values that somebody typed: one record, by the feed's column names.

    Raises:
        UsageError: a name is no analyte.
    """
    schema = polars_schema(WaterTests)
    known = [*codes.ANALYTES, "temperature_c"]
    for name in values:
        if name not in known:
            raise UsageError(f"{name} is no analyte; the analytes are {', '.join(known)}.")
    bounds = {f"{name}_below": pl.Float64 for name in codes.ANALYTES}
    row = {"sample": "typed", "point": "supply", **values}
    return pl.DataFrame([row], schema={**schema, **bounds})


def advise(
    tests: pl.DataFrame,
    model: Mapping[str, Any],
    treatments: pl.DataFrame,
    region: Mapping[str, Any] | None,
    limits: pl.DataFrame,
    values: pl.DataFrame,
    *,
    duty: Duty,
    calcium_share_of_hardness: float | None,
    conductivity_to_tds: float,
    edition: str | None = None,
    fitted: Sequence[str] = (),
) -> Advice:
    """What a water needs in front of a model.

    Args:
        tests: records of `water_tests`, one or more of a site. Supply before treated, complete
            before not, then the latest (sampled_on, reported_on, sample).
        model: a row of models.csv.
        treatments: treatments.csv.
        region: the site's row of regions.csv, None where not known.
        limits: `Terms.water_limits`.
        values: `Terms.values`.
        duty: what the kitchen asks.
        calcium_share_of_hardness: setting.
        conductivity_to_tds: setting.
        edition: whose terms; None: the latest.
        fitted: systems already installed, sized and kept up along with those offered.

    Raises:
        UsageError: no test, or the edition does not know the model's family.
    """
    if tests.is_empty():
        raise UsageError("There is no water test to advise on.")
    terms = _terms_row(values, model["family"], edition)
    test, verdict = _judged_test(tests, terms, limits, values)
    figures = water_figures(
        test,
        calcium_share_of_hardness=calcium_share_of_hardness,
        conductivity_to_tds=conductivity_to_tds,
    ).row(0, named=True)
    analytes = _by_analyte(against_limits(_with_terms(test, terms), limits))
    record = test.row(0, named=True)
    needs = verdict["needs"] or (["scale"] if model["always_treat"] else [])
    offered = combinations(needs, treatments)
    products = sorted({name for choice in offered for name in choice.products} | set(fitted))

    lines = water_lines(analytes, verdict["lacks"] or [], figures)
    lines += _need_lines(verdict["needs"], model)
    lines += corrosion_lines(record, needs)
    lines += combination_lines(needs, offered, treatments)
    water_use, tanks, levels = _water_use(
        products, treatments, model["feed_l_per_h"], region, duty, terms, verdict, needs
    )
    lines += water_use
    lines += _generator(record, figures, model, terms, limits, duty, conductivity_to_tds)
    lines += index_lines(figures, record["chloride_mg_l"])
    return Advice(
        test=record,
        model=dict(model),
        edition=terms["edition"],
        family=terms["family"],
        profile=_profile(verdict["needs"]),
        needs=needs,
        severity=verdict["severity"],
        figures={name: value for name, value in figures.items() if name != "sample"},
        lines=lines,
        analytes=analytes,
        offered=offered,
        tanks=tanks,
        levels=levels,
    )


def _profile(needs: list[str]) -> str:
    frame = pl.DataFrame({"needs": [needs]}, schema={"needs": pl.List(pl.String)})
    word: str = frame.select(profile_word(pl.col("needs"))).item()
    return word


def _terms_row(values: pl.DataFrame, family: str, edition: str | None) -> dict[str, Any]:
    rows = values.filter(pl.col("family") == family)
    if edition is not None:
        rows = rows.filter(pl.col("edition") == edition)
    if rows.is_empty():
        raise UsageError(
            f"The terms{f' of edition {edition}' if edition else ''} do not know the family "
            f"{family}: check models.csv and the terms folder."
        )
    return rows.sort("effective_from").row(-1, named=True)


def _with_terms(tests: pl.DataFrame, terms: dict[str, Any]) -> pl.DataFrame:
    return tests.with_columns(edition=pl.lit(terms["edition"]), family=pl.lit(terms["family"]))


def _judged_test(
    tests: pl.DataFrame, terms: dict[str, Any], limits: pl.DataFrame, values: pl.DataFrame
) -> tuple[pl.DataFrame, dict[str, Any]]:
    """The test that stands for the site, and what it calls for."""
    judged = needs_of(_with_terms(tests, terms), limits, values)
    ranked = tests.join(judged.select("sample", "complete"), on="sample").sort(
        pl.col("point") == "supply",
        pl.col("complete").fill_null(False),
        "sampled_on",
        pl.coalesce("reported_on", "sampled_on"),
        "sample",
    )
    chosen = ranked.tail(1).drop("complete")
    sample = chosen["sample"].item()
    return chosen, judged.filter(pl.col("sample") == sample).row(0, named=True)


def _by_analyte(judged: pl.DataFrame) -> pl.DataFrame:
    order = pl.Enum(codes.LIMITED_ANALYTES)
    return judged.drop("sample", "edition", "family").sort(pl.col("analyte").cast(order))


def _need_lines(needs: list[str], model: Mapping[str, Any]) -> list[Line]:
    lines = []
    if not needs and model["always_treat"]:
        text = (
            f"The water is within its limits, but {model['model']} is always to be treated "
            "against scale."
        )
        lines.append(Line("needs", text, "well founded"))
    elif needs:
        lines.append(Line("needs", f"The water calls for: {', '.join(needs)}.", "well founded"))
    else:
        lines.append(Line("needs", "The water is within its limits.", "well founded"))
    if not model["needs_treatment"]:
        text = f"The warranty of {model['model']} does not depend on water treatment."
        lines.append(Line("needs", text, "well founded"))
    return lines


def _water_use(
    products: list[str],
    treatments: pl.DataFrame,
    feed_l_per_h: float | None,
    region: Mapping[str, Any] | None,
    duty: Duty,
    terms: dict[str, Any],
    verdict: dict[str, Any],
    needs: list[str],
) -> tuple[list[Line], pl.DataFrame, pl.DataFrame]:
    """Membranes, tanks and cartridges for what the model draws."""
    membranes = membranes_of(products, treatments)
    coldest = region["coldest_supply_c"] if region else None
    if feed_l_per_h is None:
        membranes = membranes.clear()
    lines, tanks, levels = membrane_advice(membranes, feed_l_per_h or 0.0, coldest, duty)
    months = {name: terms[f"cartridge_months_{name}"] for name in ("mild", "normal", "severe")}
    lines += cartridge_lines(
        products,
        treatments,
        (feed_l_per_h or 0.0) * duty.duty_hours_per_day + duty.first_fill_l,
        months,
        verdict["severity"],
        needs,
    )
    return lines, tanks, levels


def _generator(
    record: dict[str, Any],
    figures: dict[str, Any],
    model: Mapping[str, Any],
    terms: dict[str, Any],
    limits: pl.DataFrame,
    duty: Duty,
    conductivity_to_tds: float,
) -> list[Line]:
    """Evaporation, concentration, scale and deliming."""
    lines: list[Line] = []
    ceiling = figures["scale_ceiling_mg_l"]
    conductivity = record["conductivity_us_cm"]
    derived = None if conductivity is None else conductivity * conductivity_to_tds
    tds = derived if record["tds_mg_l"] is None else record["tds_mg_l"]
    if model["feed_l_per_h"] is None:
        text = f"The feed of {model['model']} is not on file: nothing was sized for it."
        lines.append(Line("generator", text, "well founded"))
    else:
        lines += generator_lines(record, tds, ceiling, model["feed_l_per_h"], duty)
    hardness = limits.filter(
        (pl.col("edition") == terms["edition"])
        & (pl.col("family") == terms["family"])
        & (pl.col("analyte") == "hardness_mg_l_caco3")
    )["max"]
    limit = hardness.item() if len(hardness) else None
    return lines + deliming_lines(model["delime_by"], terms["delime_months"], limit, ceiling, duty)
