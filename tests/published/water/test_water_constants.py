"""The constants of the water chemistry against published values."""

import csv
from pathlib import Path

import iapws
import numpy as np
import pytest
from iapws._iapws import _Kw

from pipelines.water import constants
from pipelines.water.constants import constants_at
from pipelines.water.doubts import GRAINS_PER_GALLON
from pipelines.water.indices import ALKALINITY_MG_PER_MEQ

HERE = Path(__file__).parent


def rows(name: str) -> list[dict[str, str]]:
    """The rows of a file of published values beside this test."""
    with (HERE / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


FIELDS = {
    "log K calcite": "calcite",
    "log K1": "carbonic_1",
    "log K2": "carbonic_2",
    "log KH": "carbon_dioxide",
    "log K CaHCO3+ association": "ca_hco3",
    "log K CaCO3(aq) association": "ca_co3",
    "log K amorphous silica": "silica",
    "log K first ionisation of silicic acid": "silicic_1",
}


@pytest.mark.parametrize("name", FIELDS)
def test_constant_agrees_with_its_publication(name: str) -> None:
    """Each constant is the published one from 10 to 100 °C."""
    published = [row for row in rows("equilibrium_constants.csv") if row["constant"] == name]
    assert len(published) == 5
    for row in published:
        value = np.log10(getattr(constants_at(float(row["temp_c"])), FIELDS[name]))
        assert value == pytest.approx(float(row["log10K"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("celsius", [0.01, 10.0, 25.0, 60.0, 90.0, 100.0])
def test_ionization_of_water_agrees_with_the_international_formulation(celsius: float) -> None:
    """log Kw is within 0.02 of IAPWS R11-07 on the saturation line, from the iapws library."""
    water = iapws.IAPWS97(T=celsius + 273.15, x=0)
    assert -np.log10(constants_at(celsius).water) == pytest.approx(
        _Kw(water.rho, water.T), abs=0.02
    )


def test_ionization_of_water_lies_near_the_older_fit() -> None:
    """log Kw is within 0.03 of wateq4f.dat (USGS), which parts from newer data when hot."""
    published = [r for r in rows("equilibrium_constants.csv") if r["constant"] == "log Kw"]
    assert published
    for row in published:
        value = np.log10(constants_at(float(row["temp_c"])).water)
        assert value == pytest.approx(float(row["log10K"]), abs=0.03)


def test_amorphous_silica_dissolves_as_published() -> None:
    """Solubility of amorphous silica is Fournier & Rowe's within 5 % from 0 to 100 °C."""
    published = rows("amorphous_silica.csv")
    assert len(published) == 9
    for row in published:
        mg_kg = constants_at(float(row["temp_c"])).silica * constants.SILICA_G_MOL * 1000.0
        assert mg_kg == pytest.approx(float(row["fournier_rowe_mg_per_kg"]), rel=0.05)


def test_debye_huckel_slope_at_25_c() -> None:
    """A is 0.509 at 25 °C (Standard Methods 2330, from memory)."""
    assert constants_at(25.0).davies_a == pytest.approx(0.509, abs=0.003)


@pytest.mark.parametrize(
    ("unit", "factor"),
    [
        ("mg/L as Cl", ALKALINITY_MG_PER_MEQ / constants.CHLORIDE_G_MOL),
        ("mg/L as SO4", constants.CALCIUM_CARBONATE_G_MOL / constants.SULFATE_G_MOL),
        ("meq/L (hardness or alkalinity)", ALKALINITY_MG_PER_MEQ),
        ("mmol/L hardness (Ca+Mg)", constants.CALCIUM_CARBONATE_G_MOL),
        ("grain per US gallon (as CaCO3)", GRAINS_PER_GALLON),
        ("mg/L as Si", constants.SILICA_G_MOL / 28.085),
    ],
)
def test_conversion_agrees_with_exact_definitions(unit: str, factor: float) -> None:
    """Conversions agree with IUPAC masses and unit definitions to 5 parts in 10 000."""
    published = next(row for row in rows("conversions.csv") if row["from_unit"] == unit)
    assert factor == pytest.approx(float(published["multiply_by"]), rel=5e-4)


@pytest.mark.parametrize(
    ("name", "log_k"),
    [
        ("bisulfate", 1.988), ("mg_hco3", 1.07), ("mg_co3", 2.98), ("ca_so4", 2.25),
        ("mg_so4", 2.37), ("silicic_1", -9.83), ("silicic_2", -23.0),
    ],
)  # fmt: skip
def test_constants_of_lesser_species_at_25_c(name: str, log_k: float) -> None:
    """log K that phreeqc.dat (USGS) and wateq4f.dat list for 25 °C; from memory."""
    assert np.log10(getattr(constants_at(25.0), name)) == pytest.approx(log_k, abs=0.02)
