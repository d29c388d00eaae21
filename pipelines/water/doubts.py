"""What does not add up in a water test, each as one sentence; nothing is dropped for it.

Belongs here: contradictions, impossible values, suspected units, waters without a solution. Does
not belong here: values that are merely missing or assumed (`analysis`).
"""

from __future__ import annotations

import polars as pl

from pipelines.water.analysis import ALKALINITY, CALCIUM, HARDNESS, Rule, possible
from pipelines.water.constants import CHLORIDE_G_MOL, SULFATE_G_MOL
from pipelines.water.equilibrium import LOWEST_PH_WITH_ALKALINITY
from pipelines.water.indices import ALKALINITY_MG_PER_MEQ
from pipelines.water.limits import ANALYTE_WORDS, number_text

GRAINS_PER_GALLON = 17.118  # mg/L of CaCO3 in one grain a US gallon
# Calcium is half to all of most waters' hardness; a hardness in grains then looks this many times
# too small beside a calcium in mg/L (common practice, no source).
GRAIN_RATIOS = (8.0, 17.6)
CHARGE_SHARE = 0.10
WARMEST_SUPPLY_C = 45.0  # common practice, no source
SOLIDS_PER_CONDUCTIVITY = (0.4, 1.0)  # well outside the 0.5-0.75 of Hem, USGS WSP 2254
SALTY_MOL_KG = 0.1  # Davies is fair up to here; the stated accuracy holds below 0.02


def _value_or_bound(name: str) -> pl.Expr:
    return pl.coalesce(possible(name), pl.col(f"{name}_below"))


def _impossible_values() -> list[Rule]:
    rules: list[Rule] = []
    for name, (word, unit) in ANALYTE_WORDS.items():
        if name == "chloramine_mg_l":
            continue
        given = pl.col(name)
        text = pl.format(f"{word} {{}}{unit} is impossible: taken as missing", number_text(given))
        rules.append((given.is_not_null() & possible(name).is_null(), text))
    temperature = pl.col("temperature_c")
    outside = temperature.is_not_null() & possible("temperature_c").is_null()
    shown = number_text(temperature)
    rules += [
        (
            outside,
            pl.format("temperature {} °C is impossible (is it in °F?): taken as missing", shown),
        ),
        (
            ~outside & (temperature > WARMEST_SUPPLY_C),
            pl.format("temperature {} °C is warm for a supply (is it in °F?)", shown),
        ),
    ]
    return rules


def _contradictions() -> list[Rule]:
    calcium, hardness = possible(CALCIUM), _value_or_bound(HARDNESS)
    ratio = calcium / hardness
    free, total = possible("free_chlorine_mg_l"), _value_or_bound("total_chlorine_mg_l")
    cations = possible(HARDNESS) / ALKALINITY_MG_PER_MEQ
    anions = (
        _value_or_bound(ALKALINITY) / ALKALINITY_MG_PER_MEQ
        + _value_or_bound("chloride_mg_l") / CHLORIDE_G_MOL
        + _value_or_bound("sulfate_mg_l") * 2.0 / SULFATE_G_MOL
    )
    off = (cations - anions) / (cations + anions)
    solids = possible("tds_mg_l") / possible("conductivity_us_cm")
    low, high = SOLIDS_PER_CONDUCTIVITY
    return [
        (
            calcium > hardness,
            pl.format(
                "calcium {} mg/L is above hardness {} mg/L",
                number_text(calcium),
                number_text(hardness),
            ),
        ),
        (
            ratio.is_between(*GRAIN_RATIOS),
            pl.format(
                "hardness {} may be in grains per gallon: calcium is {} times as much, a grain per "
                f"gallon is {GRAINS_PER_GALLON} mg/L",
                number_text(hardness),
                ratio.round(1),
            ),
        ),
        (
            free > total,
            pl.format(
                "free chlorine {} mg/L is above total chlorine {} mg/L",
                number_text(free),
                number_text(total),
            ),
        ),
        (
            (off > CHARGE_SHARE) & off.is_finite(),
            pl.format(
                "charge is off by {} %: hardness is {} meq/L, alkalinity, chloride and sulfate "
                "only {} meq/L",
                (off * 100.0).round(0).cast(pl.Int64),
                cations.round(2),
                anions.round(2),
            ),
        ),
        (
            ((solids < low) | (solids > high)) & solids.is_finite(),
            pl.format(
                "dissolved solids {} mg/L do not fit conductivity {} µS/cm",
                number_text(pl.col("tds_mg_l")),
                number_text(pl.col("conductivity_us_cm")),
            ),
        ),
    ]


def _without_solution() -> list[Rule]:
    ph, alkalinity = pl.col("water_ph"), pl.col("water_alkalinity")
    none = pl.col("no_solution")
    acid = ph < LOWEST_PH_WITH_ALKALINITY
    salty = pl.col("ionic_strength_mol_kg") > SALTY_MOL_KG
    both = (number_text(alkalinity), number_text(ph))
    return [
        (none & (alkalinity <= 0.0), pl.lit("no saturation index: alkalinity is 0")),
        (
            none & (alkalinity > 0.0) & acid,
            pl.format(
                "alkalinity {} mg/L is impossible at pH {}: water below pH "
                f"{LOWEST_PH_WITH_ALKALINITY} has none; no saturation index",
                *both,
            ),
        ),
        (
            none & (alkalinity > 0.0) & ~acid,
            pl.format(
                "alkalinity {} mg/L is impossible at pH {}: hydroxide alone would be more, or "
                "the water is too salty; no saturation index",
                *both,
            ),
        ),
        (
            ~none & (pl.col("log_pco2") > 0.0),
            pl.format(
                "alkalinity {} mg/L at pH {} would hold carbon dioxide under more than 1 atm", *both
            ),
        ),
        (
            ~none & ph.is_not_null() & alkalinity.is_not_null() & (pl.col("water_calcium") <= 0.0),
            pl.lit("no saturation index: calcium is 0"),
        ),
        (
            pl.col("no_solution_at_fixed_ph"),
            pl.format(
                "no index at 100 °C with the cold pH: at pH {1} boiling water holds more hydroxide "
                "than an alkalinity of {0} mg/L",
                *both,
            ),
        ),
        (
            ~none & salty,
            pl.lit("the water is so salty that its indices are rough"),
        ),
    ]


def doubt_rules() -> list[Rule]:
    """Every rule, for tests with their `water_…` columns and the masks of `equilibria`."""
    return [*_impossible_values(), *_contradictions(), *_without_solution()]
