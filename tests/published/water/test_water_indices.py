"""Indices against worked examples of books and standards."""

import csv
from pathlib import Path

import numpy as np
import pytest

from pipelines.water.calcite import closed_potential, saturation_index
from pipelines.water.constants import CALCIUM_CARBONATE_G_MOL, constants_at
from pipelines.water.equilibrium import Analyses, equilibria
from pipelines.water.indices import larson_skold, ryznar, scale_ceiling
from pipelines.water.speciation import at_measured_ph, heated_closed
from pipelines.water.species import Water

HERE = Path(__file__).parent
MG_PER_MOL = CALCIUM_CARBONATE_G_MOL * 1000.0


def rows(name: str) -> list[dict[str, str]]:
    """The rows of a file of published values beside this test."""
    with (HERE / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def example(key: str, quantity: str) -> dict[str, str]:
    """One quantity of one worked example."""
    return next(
        row
        for row in rows("index_examples.csv")
        if row["id"] == key and row["quantity"] == quantity
    )


@pytest.mark.parametrize("key", ["E3-1", "E3-2", "E3-3", "E3-4"])
def test_larson_skold_of_worked_examples(key: str) -> None:
    """The ratio agrees with the tests of an open water-treatment library."""
    row = example(key, "LSk")
    ratio = larson_skold(
        np.array([float(row["cl_mgL"])]),
        np.array([float(row["so4_mgL"])]),
        np.array([float(row["alkalinity_caco3"])]),
    )[0]
    assert ratio == pytest.approx(float(row["formula_unrounded"]), rel=1e-3)
    assert ratio == pytest.approx(float(row["published"]), abs=float(row["fair_tolerance"]))


def test_ryznar_of_the_worked_example() -> None:
    """2 pHs - pH with the published pHs (UFC 3-240-13FN, B-2)."""
    row = example("E2", "RSI")
    ph, saturation_ph = float(row["ph"]), float(example("E2", "pHs")["published"])
    index = ryznar(np.array([ph]), np.array([ph - saturation_ph]))[0]
    assert index == pytest.approx(float(row["published"]), abs=float(row["fair_tolerance"]))


def analyses(temperature_c, ph, calcium, alkalinity) -> Analyses:
    """A water of calcium and alkalinity alone."""
    nothing = np.zeros(1)
    return Analyses(
        temperature_c=np.array([temperature_c]),
        ph=np.array([ph]),
        calcium_mg_l_caco3=np.array([calcium]),
        magnesium_mg_l_caco3=nothing,
        alkalinity_mg_l_caco3=np.array([alkalinity]),
        chloride_mg_l=nothing,
        sulfate_mg_l=nothing,
        silica_mg_l=nothing,
    )


@pytest.mark.parametrize(("key", "with_ion_pairs"), [("E4-1", 16.7), ("E4-2", -36.0)])
def test_closed_potential_of_worked_examples(key: str, with_ion_pairs: float) -> None:
    """CCPP at 25 °C agrees with an open library without ion pairs, and with a code that has them.

    The values with ion pairs are those of PHREEQC (phreeqpython 1.6.2, phreeqc.dat) for the same
    waters, charges balanced by sodium.
    """
    row = example(key, "CCPP mg/L as CaCO3")
    figures = equilibria(
        analyses(
            25.0,
            float(row["ph"]),
            float(row["ca_hardness_caco3"]),
            float(row["alkalinity_caco3"]),
        )
    )
    value = figures.ccpp_closed_mg_l_25c[0]
    assert value == pytest.approx(float(row["published"]), abs=float(row["fair_tolerance"]))
    assert value == pytest.approx(with_ion_pairs, abs=1.0)


@pytest.mark.parametrize(
    ("key", "least", "most"), [("E1-25", 0.1, 0.25), ("E2", -0.15, 0.0), ("E1-82", -0.15, 0.0)]
)
def test_langelier_against_the_simplified_examples(key: str, least: float, most: float) -> None:
    """The simplified form lies below modern constants when cold and above them when hot (same pH).

    The two cross near 40 °C, so that the difference changes its sign between the examples.
    """
    row = example(key, "LSI")
    celsius = float(row["temp_c"])
    calcium, alkalinity = float(row["ca_hardness_caco3"]), float(row["alkalinity_caco3"])
    nothing = np.zeros(1)
    water = Water(
        calcium=np.array([calcium / MG_PER_MOL]),
        magnesium=nothing,
        sodium=nothing,
        chloride=np.array([2.0 * (calcium - alkalinity) / MG_PER_MOL]),
        sulfate=nothing,
        silica=nothing,
        alkalinity=np.array([2.0 * alkalinity / MG_PER_MOL]),
    )
    k = constants_at(celsius)
    state, _, solved = at_measured_ph(k, water, np.array([float(row["ph"])]))
    index = saturation_index(k, state)[0]
    assert solved.all()
    assert least < index - float(row["formula_unrounded"]) < most
    assert abs(index - float(row["published"])) < 0.25
    if celsius == 25.0:  # what the product says of a water of calcium and alkalinity alone
        told = equilibria(analyses(25.0, float(row["ph"]), calcium, alkalinity)).langelier_25c[0]
        assert told == pytest.approx(index, abs=0.03)


def test_scale_ceiling_is_what_runs_out_first() -> None:
    """The lesser of calcium and alkalinity (stoichiometry; M9 of the worked balances)."""
    assert scale_ceiling(np.array([120.0]), np.array([110.0]))[0] == 110.0


def din_water(row: dict[str, str], alkalinity: float) -> Water:
    """A water of the standard, mmol/L; potassium counts as sodium, nitrate as chloride."""

    def mol(*names: str) -> np.ndarray:
        return np.array([sum(float(row[name]) for name in names) / 1000.0])

    return Water(
        calcium=mol("Ca"),
        magnesium=mol("Mg"),
        sodium=mol("Na", "K"),
        chloride=mol("Cl", "NO3"),
        sulfate=mol("SO4"),
        silica=np.zeros(1),
        alkalinity=np.array([alkalinity]),
    )


def din_alkalinity(row: dict[str, str]) -> float:
    """The alkalinity (eq/L) with which the water holds its published inorganic carbon."""
    low, high, k = 1e-5, 2e-2, constants_at(float(row["T_c"]))
    ph, carbon = np.array([float(row["pH_at_T"])]), float(row["DIC_mmolL"]) / 1000.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        _, found, _ = at_measured_ph(k, din_water(row, middle), ph)
        low, high = (middle, high) if found[0] < carbon else (low, middle)
    return low


@pytest.mark.parametrize("row", rows("calcite_waters_din_38404_10.csv"), ids=lambda row: row["id"])
def test_published_calcite_waters(row: dict[str, str]) -> None:
    """pH, index and calcite capacity of the waters of DIN 38404-10, at its tolerances."""
    water = din_water(row, din_alkalinity(row))
    measured, carbon, solved = at_measured_ph(
        constants_at(float(row["T_c"])), water, np.array([float(row["pH_at_T"])])
    )
    k = constants_at(float(row["Tb_c"]))
    state, settled = heated_closed(k, water, carbon, measured)
    potential, found = closed_potential(k, water, carbon, state)
    assert solved.all()
    assert settled.all()
    assert found.all()
    assert state.ph[0] == pytest.approx(float(row["pH_at_Tb_published"]), abs=float(row["tol_pH"]))
    if row["SI_calcite_published"]:
        assert saturation_index(k, state)[0] == pytest.approx(
            float(row["SI_calcite_published"]), abs=float(row["tol_SI"])
        )
        assert potential[0] * MG_PER_MOL == pytest.approx(
            float(row["CCPP_mgL_published"]), abs=float(row["tol_CCPP_mgL"])
        )
    after = Water(
        water.calcium - potential,
        water.magnesium,
        water.sodium,
        water.chloride,
        water.sulfate,
        water.silica,
        water.alkalinity - 2.0 * potential,
    )
    at_rest, _ = heated_closed(k, after, carbon - potential, state)
    assert at_rest.ph[0] == pytest.approx(
        float(row["pH_after_calcite_equilibrium_published"]), abs=float(row["tol_pH"])
    )
