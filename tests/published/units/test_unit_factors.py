"""Conversions against factors derived from atomic weights and definitions.

`unit_factors.csv` holds the factors with derivation and source beside each. They carry more
figures than the product's, which are those of the trade (17.118, 17.848 …), so both must agree to
5 parts in 10 000.
"""

import csv
from pathlib import Path

import polars as pl
import pytest

from pipelines.records.units_of_measure import conversion

TABLE = (Path(__file__).parent / "unit_factors.csv").read_text(encoding="utf-8")
FACTORS = {row["from_unit"]: row for row in csv.DictReader(TABLE.splitlines())}


def converted(column, unit, value=1.0):
    """A value that arrives in a unit, in the unit of the column."""
    return pl.select(conversion(column, unit).apply(pl.lit(value))).item()


@pytest.mark.parametrize(
    ("column", "unit", "name"),
    [
        ("hardness_mg_l_caco3", "gpg", "grain per US gallon (as CaCO3)"),
        ("hardness_mg_l_caco3", "dH", "German degree dH"),
        ("hardness_mg_l_caco3", "fH", "French degree fH"),
        ("hardness_mg_l_caco3", "mmol/L", "mmol/L hardness (Ca+Mg)"),
        ("calcium_mg_l_caco3", "mg/L as Ca", "mg/L as Ca"),
        ("alkalinity_mg_l_caco3", "mg/L as HCO3", "mg/L as HCO3"),
        ("silica_mg_l", "mg/L as Si", "mg/L as Si"),
    ],
)
def test_factors_agree_with_derived_ones(column, unit, name):
    """Each factor is within 5 parts in 10 000 of the derived one."""
    assert converted(column, unit) == pytest.approx(float(FACTORS[name]["multiply_by"]), rel=5e-4)


def test_pressure_agrees_with_the_definition():
    """1 psi is 6.894757 kPa by definition, both ways."""
    kpa = float(FACTORS["psi"]["multiply_by"])
    assert converted("static_pressure_psi", "kPa", kpa) == pytest.approx(1, rel=1e-6)
    assert converted("static_pressure_psi", "bar", kpa / 100) == pytest.approx(1, rel=1e-6)


def test_inches_of_water_agree_with_the_conventional_value():
    """1 kPa is 4.01463 inches of water (NIST SP 811, conventional; from memory)."""
    assert converted("gas_pressure_in_wc", "kPa") == pytest.approx(4.01463, rel=1e-5)
    assert converted("gas_pressure_in_wc", "psi") == pytest.approx(27.6799, rel=1e-5)


@pytest.mark.parametrize(
    ("celsius", "fahrenheit"), [(0.0, 32.0), (100.0, 212.0), (-40.0, -40.0), (21.5, 70.7)]
)
def test_temperatures_convert_by_their_definition(celsius, fahrenheit):
    """Freezing, boiling and the crossing point (definition of the degree Fahrenheit)."""
    assert converted("temperature_c", "F", fahrenheit) == celsius
    assert converted("supply_temperature_f", "C", celsius) == fahrenheit
