"""From a test record to a water: what is taken, what is assumed, what is derived.

Belongs here: filling what the chemistry needs, and saying so. Does not belong here: what does not
add up (`doubts`), the chemistry (`equilibrium`).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from pipelines.water.equilibrium import Analyses
from pipelines.water.limits import number_text
from schemas.columns import TEXTS

ASSUMED_TEMPERATURE_C = 25.0
CALCIUM = "calcium_mg_l_caco3"
HARDNESS = "hardness_mg_l_caco3"
ALKALINITY = "alkalinity_mg_l_caco3"
TAKEN_AS_NOTHING = {
    "chloride_mg_l": "chloride",
    "sulfate_mg_l": "sulfate",
    "silica_mg_l": "silica",
}

Rule = tuple[pl.Expr, pl.Expr]  # where it holds, and the sentence for it


def possible(name: str) -> pl.Expr:
    """A column's value where such a value can exist, else null."""
    low, high = {"ph": (0.0, 14.0), "temperature_c": (0.0, 100.0)}.get(name, (0.0, 1e6))
    return pl.when(pl.col(name).is_between(low, high)).then(pl.col(name))


def sentences(frame: pl.DataFrame, rules: Sequence[Rule], name: str) -> pl.Series:
    """For each row of `frame` the sentences of the rules that hold, in the order of the rules.

    Sentences are made only where they are needed, so that a large table of sound tests is cheap.
    """
    numbered = frame.with_row_index("_row")
    by_rule = [
        numbered.filter(holds).select("_row", _rule=pl.lit(place), _text=text)
        for place, (holds, text) in enumerate(rules)
    ]
    lists = (
        pl.concat(by_rule)
        .sort("_row", "_rule")
        .group_by("_row", maintain_order=True)
        .agg(pl.col("_text").alias(name))
    )
    return (
        numbered.select("_row")
        .join(lists, on="_row", how="left", maintain_order="left")
        .get_column(name)
        .fill_null(pl.Series([[]], dtype=TEXTS))
    )


def with_water(tests: pl.DataFrame, calcium_share_of_hardness: float | None) -> pl.DataFrame:
    """Adds the water of each test: `water_…` columns, null where the chemistry has to do without.

    Args:
        tests: records of `water_tests`.
        calcium_share_of_hardness: the workspace's setting; None leaves calcium missing.
    """
    calcium = possible(CALCIUM)
    if calcium_share_of_hardness is not None:
        calcium = pl.coalesce(calcium, possible(HARDNESS) * calcium_share_of_hardness)
    return tests.with_columns(
        water_temperature_c=possible("temperature_c").fill_null(ASSUMED_TEMPERATURE_C),
        water_ph=possible("ph"),
        water_calcium=calcium,
        water_alkalinity=possible(ALKALINITY),
        water_chloride=possible("chloride_mg_l").fill_null(0.0),
        water_sulfate=possible("sulfate_mg_l").fill_null(0.0),
        water_silica=possible("silica_mg_l").fill_null(0.0),
    ).with_columns(
        water_magnesium=(possible(HARDNESS) - pl.col("water_calcium").fill_null(0.0))
        .clip(lower_bound=0.0)
        .fill_null(0.0),
    )


def analyses_of(waters: pl.DataFrame) -> Analyses:
    """The `water_…` columns as arrays, null as NaN."""

    def array(name: str) -> np.ndarray:
        return waters[f"water_{name}"].cast(pl.Float64).fill_null(float("nan")).to_numpy()

    return Analyses(
        temperature_c=array("temperature_c"),
        ph=array("ph"),
        calcium_mg_l_caco3=array("calcium"),
        magnesium_mg_l_caco3=array("magnesium"),
        alkalinity_mg_l_caco3=array("alkalinity"),
        chloride_mg_l=array("chloride"),
        sulfate_mg_l=array("sulfate"),
        silica_mg_l=array("silica"),
    )


def assumption_rules(
    calcium_share_of_hardness: float | None, conductivity_to_tds: float
) -> list[Rule]:
    """What is said of a test beside its figures: every value that was assumed or derived."""
    rules: list[Rule] = []
    if calcium_share_of_hardness is not None:
        assumed = f"calcium assumed: {calcium_share_of_hardness:g} of the hardness"
        rules.append(
            (possible(CALCIUM).is_null() & pl.col("water_calcium").is_not_null(), pl.lit(assumed))
        )
    rules += [
        (
            possible(HARDNESS).is_null() & pl.col("water_calcium").is_not_null(),
            pl.lit("magnesium assumed: 0, as hardness is missing"),
        ),
        (
            possible("temperature_c").is_null(),
            pl.lit(f"temperature assumed: {ASSUMED_TEMPERATURE_C:g} °C"),
        ),
    ]
    for name, word in TAKEN_AS_NOTHING.items():
        below = pl.col(f"{name}_below")
        unknown = possible(name).is_null()
        rules += [
            (unknown & below.is_null(), pl.lit(f"{word} assumed: 0, as it is missing")),
            (
                unknown & below.is_not_null(),
                pl.format(f"{word} assumed: 0, as it is below {{}} mg/L", number_text(below)),
            ),
        ]
    derived = possible("tds_mg_l").is_null() & pl.col("tds_mg_l_below").is_null()
    rules.append(
        (
            derived & possible("conductivity_us_cm").is_not_null(),
            pl.format(
                f"dissolved solids derived: {{}} mg/L ({conductivity_to_tds:g} × conductivity)",
                number_text((pl.col("conductivity_us_cm") * conductivity_to_tds).round(1)),
            ),
        )
    )
    missing = [("water_ph", "pH"), ("water_alkalinity", "alkalinity"), ("water_calcium", "calcium")]
    lacking = pl.concat_list(
        pl.when(pl.col(column).is_null()).then(pl.lit(word)) for column, word in missing
    ).list.drop_nulls()
    rules.append(
        (
            pl.any_horizontal(pl.col(column).is_null() for column, _ in missing),
            pl.format("no saturation index: {} missing", lacking.list.join(", ")),
        )
    )
    return rules
