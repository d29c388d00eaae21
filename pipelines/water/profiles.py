"""The water profile of every sample.

Belongs here: which terms judge a sample, the class of a water, the table `water_profiles`. Does
not belong here: limits and needs (`limits`), units (`unit_profiles`), chemistry
(`equilibrium`), advice.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipelines.water.analysis import (
    analyses_of,
    assumption_rules,
    possible,
    sentences,
    with_water,
)
from pipelines.water.doubts import doubt_rules
from pipelines.water.equilibrium import equilibria
from pipelines.water.indices import larson_skold, scale_ceiling
from pipelines.water.limits import needs_of
from schemas import codes
from schemas.columns import polars_schema
from schemas.histories import WaterProfiles

INDICES = (
    "langelier_25c",
    "langelier_60c",
    "langelier_100c",
    "langelier_100c_fixed_ph",
    "ryznar_25c",
    "ph_100c",
    "ccpp_closed_mg_l_25c",
    "ccpp_open_mg_l_100c",
    "silica_index_25c",
    "silica_index_100c",
)
# What `water_figures` tells of a sample, which rests on nothing but its record and the settings.
FIGURES = (*INDICES, "scale_ceiling_mg_l", "larson_skold", "doubts", "assumed")
DECIMALS = 4  # of an index; beyond that lies the error of the constants


def profile_word(needs: pl.Expr) -> pl.Expr:
    """The class of a water from what it needs (null: untested)."""
    only = needs.list.first().replace_strict(codes.PROFILES, return_dtype=pl.String)
    return (
        pl.when(needs.is_null())
        .then(pl.lit("untested"))
        .when(needs.list.len() == 0)
        .then(pl.lit("within limits"))
        .when(needs.list.len() == 1)
        .then(only)
        .otherwise(pl.lit("mixed"))
    )


def with_terms(tests: pl.DataFrame, units: pl.DataFrame, values: pl.DataFrame) -> pl.DataFrame:
    """Adds the edition and family whose limits judge each sample.

    Those of the unit that the sample names by serial; else of the smallest serial at its site; else
    of the latest edition, its first family by name. A unit to which no edition applies gives none.

    Args:
        tests: sample, site, serial.
        units: serial, site, edition, family.
        values: `Terms.values`.
    """
    known = units.filter(pl.col("edition").is_not_null()).sort("serial")
    by_serial = known.select("serial", _edition="edition", _family="family")
    by_site = (
        known.filter(pl.col("site").is_not_null())
        .unique("site", keep="first", maintain_order=True)
        .select("site", _site_edition="edition", _site_family="family")
    )
    latest = values.sort(pl.col("effective_from"), "family", descending=[True, False]).head(1)
    last_edition, last_family = (
        latest.select("edition", "family").row(0) if latest.height else (None, None)
    )
    joined = tests.join(by_serial, on="serial", how="left", maintain_order="left").join(
        by_site, on="site", how="left", maintain_order="left"
    )
    return joined.with_columns(
        edition=pl.coalesce("_edition", "_site_edition", pl.lit(last_edition, pl.String)),
        family=pl.coalesce("_family", "_site_family", pl.lit(last_family, pl.String)),
    ).drop("_edition", "_family", "_site_edition", "_site_family")


def water_figures(
    tests: pl.DataFrame, *, calcium_share_of_hardness: float | None, conductivity_to_tds: float
) -> pl.DataFrame:
    """The indices, doubts and assumptions of every sample, in the order of `tests`.

    Args:
        tests: records of `water_tests`.
        calcium_share_of_hardness: setting; None where none is declared.
        conductivity_to_tds: setting, mg/L per µS/cm.

    Returns:
        sample and `FIGURES`.
    """
    waters = with_water(tests, calcium_share_of_hardness)
    solved = equilibria(analyses_of(waters))
    states = waters.with_columns(
        pl.Series("no_solution", solved.no_solution),
        pl.Series("no_solution_at_fixed_ph", solved.no_solution_at_fixed_ph),
        pl.Series("ionic_strength_mol_kg", solved.ionic_strength_mol_kg, nan_to_null=True),
        pl.Series("log_pco2", solved.log_pco2, nan_to_null=True),
    )
    arrays = {name: getattr(solved, name) for name in INDICES} | _simple_indices(waters)
    # Adding 0 turns the -0.0 that rounding leaves into 0.
    rounded = {name: np.round(values, DECIMALS) + 0.0 for name, values in arrays.items()}
    return tests.select("sample").with_columns(
        *(pl.Series(name, values, nan_to_null=True) for name, values in rounded.items()),
        sentences(states, doubt_rules(), "doubts"),
        sentences(
            states, assumption_rules(calcium_share_of_hardness, conductivity_to_tds), "assumed"
        ),
    )


def _simple_indices(waters: pl.DataFrame) -> dict[str, np.ndarray]:
    def array(value: pl.Expr) -> np.ndarray:
        return waters.select(value.cast(pl.Float64).fill_null(float("nan"))).to_series().to_numpy()

    alkalinity = array(pl.col("water_alkalinity"))
    # A ratio without either acid would be a silent 0.
    reported = pl.any_horizontal(
        pl.coalesce(possible(name), pl.col(f"{name}_below")).is_not_null()
        for name in ("chloride_mg_l", "sulfate_mg_l")
    )
    return {
        "scale_ceiling_mg_l": scale_ceiling(array(pl.col("water_calcium")), alkalinity),
        "larson_skold": larson_skold(
            array(pl.when(reported).then(pl.col("water_chloride"))),
            array(pl.col("water_sulfate")),
            alkalinity,
        ),
    }


def profile_samples(
    tests: pl.DataFrame,
    units: pl.DataFrame,
    limits: pl.DataFrame,
    values: pl.DataFrame,
    *,
    calcium_share_of_hardness: float | None,
    conductivity_to_tds: float,
    known: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """The table `water_profiles`: one row a sample, by sample.

    Args:
        tests: records of `water_tests`, supply and treated alike; the caller leaves out what is
            not yet seen.
        units: serial, site, edition, family; see `with_terms` for the terms that judge a sample.
        limits: `Terms.water_limits`.
        values: `Terms.values`.
        calcium_share_of_hardness: setting; None where none is declared.
        conductivity_to_tds: setting.
        known: sample and `FIGURES` of samples whose figures need not be worked out again, of
            others too; None for none.
    """
    judged = needs_of(with_terms(tests, units, values), limits, values)
    unknown = tests if known is None else tests.join(known, on="sample", how="anti")
    figures = water_figures(
        unknown,
        calcium_share_of_hardness=calcium_share_of_hardness,
        conductivity_to_tds=conductivity_to_tds,
    )
    if known is not None:
        figures = pl.concat([known.join(tests, on="sample", how="semi"), figures])
    return (
        tests.select("sample", "site", "sampled_on")
        .join(judged, on="sample", how="left")
        .join(figures, on="sample", how="left")
        .with_columns(profile=profile_word(pl.col("needs")))
        .select(polars_schema(WaterProfiles).names())
        .sort("sample")
    )
