"""Units: their names in any spelling, which column they fit, and exact results."""

import polars as pl
import pytest

from pipelines.records.units_of_measure import Conversion, conversion, is_unit


def converted(column, unit, value):
    """A value that arrives in a unit, in the unit of the column."""
    return pl.select(conversion(column, unit).apply(pl.lit(value))).item()


@pytest.mark.parametrize(
    ("unit", "value"),
    [("gpg", 171.18), ("dH", 178.48), ("fH", 100.0), ("mmol/L", 1000.9), ("mg/L as Ca", 24.973),
     ("mg/L", 10.0), ("ppm", 10.0), ("ug/L", 0.01)],
)  # fmt: skip
def test_hardness_has_the_factors_of_the_contract(unit, value):
    """Ten of each unit, in mg/L of CaCO3, to the last written decimal."""
    assert converted("hardness_mg_l_caco3", unit, 10.0) == value


@pytest.mark.parametrize(
    ("column", "unit"),
    [
        ("hardness_mg_l_caco3", "°DH"),
        ("hardness_mg_l_caco3", "°f"),
        ("calcium_mg_l_caco3", "°d"),
        ("hardness_mg_l_caco3", "Mg/l AS caco3"),
        ("hardness_mg_l_caco3", "mg CaCO3/L"),
        ("hardness_mg_l_caco3", "ppm (CaCO3)"),
        ("hardness_mg_l_caco3", "Grains per Gallon"),
        ("iron_mg_l", "µg/L"),
        ("iron_mg_l", "μG/l"),
        ("conductivity_us_cm", "µS/cm"),
        ("conductivity_us_cm", "uS/cm @25C"),
        ("ph", "pH units @ 25 °C"),
        ("gas_pressure_in_wc", "inWC @25C"),
        ("conductivity_us_cm", "umhos/cm"),
        ("temperature_c", "deg C"),
        ("temperature_c", "°F"),
        ("temperature_c", "degrees F"),
        ("ph", "std units"),
        ("ph", "pH units"),
        ("silica_mg_l", "mg/L as SiO2"),
        ("sediment_um", "micron"),
        ("flowing_pressure_psi", "PSI"),
        ("flowing_pressure_psi", "kpa"),
        ("gas_pressure_in_wc", "in WC"),
        ("gas_pressure_in_wc", "mbar"),
        ("drain_air_gap_in", "mm"),
    ],
)
def test_spellings_of_laboratories_are_known(column, unit):
    """Case, spaces, degree signs, both micro signs and the species do not matter."""
    assert conversion(column, unit) is not None
    assert is_unit(unit)


@pytest.mark.parametrize(
    ("column", "unit"),
    [
        ("ph", "mg/L"),
        ("iron_mg_l", "gpg"),
        ("chloride_mg_l", "mmol/L"),
        ("iron_mg_l", "mg/L as Ca"),
        ("hardness_mg_l_caco3", "F"),
        ("temperature_c", "psi"),
        ("sediment_um", "mg/L"),
        ("tds_mg_l", "gal"),
        ("static_pressure_psi", "in"),
    ],
)
def test_a_unit_of_another_kind_does_not_fit(column, unit):
    """The unit is known, but not for this column."""
    assert conversion(column, unit) is None
    assert is_unit(unit)


@pytest.mark.parametrize("unit", ["furlong", "mg/L as N", "pCi/L", "NTU", "mg", ""])
def test_what_is_no_unit_of_the_feeds_is_unknown(unit):
    """No column takes it, so it is not known."""
    assert not is_unit(unit)


def test_the_feeds_own_unit_changes_nothing():
    """A value in its own unit is not even rounded."""
    assert conversion("iron_mg_l", "mg/L") == Conversion()
    assert converted("iron_mg_l", "ppm", 0.12345678901) == 0.12345678901


def test_results_are_the_written_decimals():
    """Micrograms come out as the nearest double of the decimal, not a bit beside it."""
    values = pl.Series([float(n) for n in range(1, 3000)])
    out = pl.DataFrame({"v": values}).select(conversion("iron_mg_l", "ug/L").apply(pl.col("v")))
    assert out["v"].to_list() == [float(f"{n}e-3") for n in range(1, 3000)]


def test_further_units_of_pressure_and_conductivity():
    """1 hPa = 100 Pa, 1 mmH2O = 9.80665 Pa (conventional), 1 dS/m = 1000 uS/cm (SI)."""
    assert conversion("gas_pressure_in_wc", "mmH2O").scale == pytest.approx(9.80665 / 249.08891)
    assert conversion("flowing_pressure_psi", "hPa").scale == pytest.approx(100 / 6894.757293168)
    assert conversion("conductivity_us_cm", "dS/m @25C").scale == 1000.0
    assert conversion("ph", "-") == Conversion()


@pytest.mark.parametrize(
    ("column", "unit", "value"),
    [
        ("calcium_mg_l_caco3", "mg/L as CaCO3", 10.0),
        ("calcium_mg_l_caco3", "mg/L as Ca", 24.973),
        ("hardness_mg_l_caco3", "mg/L as CaCO3", 10.0),
        ("alkalinity_mg_l_caco3", "mg/L as CaCO3", 10.0),
        ("alkalinity_mg_l_caco3", "mg/L as HCO3", 8.2016),
        ("alkalinity_mg_l_caco3", "mg/L as Ca", 24.973),
        ("free_chlorine_mg_l", "mg/L as Cl2", 10.0),
        ("total_chlorine_mg_l", "ppm as Cl2", 10.0),
        ("chloride_mg_l", "mg/L as Cl", 10.0),
        ("sulfate_mg_l", "mg/L as SO4", 10.0),
        ("silica_mg_l", "mg/L as SiO2", 10.0),
        ("silica_mg_l", "mg/L as Si", 21.393),
        ("iron_mg_l", "ug/L as Fe", 0.01),
        ("iron_mg_l", "ng/L", 0.00001),
        ("iron_mg_l", "g/L", 10_000.0),
        ("iron_mg_l", "ppb", 0.01),
        ("conductivity_us_cm", "mS/cm", 10_000.0),
        ("conductivity_us_cm", "mS/m", 100.0),
        ("conductivity_us_cm", "dS/m", 10_000.0),
        ("conductivity_us_cm", "umho/cm", 10.0),
        ("sediment_um", "mm", 10_000.0),
        ("sediment_um", "micron", 10.0),
        ("drain_air_gap_in", "ft", 120.0),
        ("drain_air_gap_in", "mm", 0.393700787),
        ("drain_air_gap_in", "cm", 3.937007874),
        ("drain_air_gap_in", "m", 393.700787402),
        ("static_pressure_psi", "kPa", 1.450377377),
        ("static_pressure_psi", "hPa", 0.145037738),
        ("static_pressure_psi", "MPa", 1450.377377302),
        ("static_pressure_psi", "bar", 145.03773773),
        ("static_pressure_psi", "psig", 10.0),
        ("gas_pressure_in_wc", "mbar", 4.014630779),
        ("gas_pressure_in_wc", "mmH2O", 0.393700787),
    ],
)
def test_ten_of_each_unit(column, unit, value):
    """By the definitions of the units (SI; inch 25.4 mm; psi 6.894757 kPa) and the contract's
    factors of species; decimals to the ninth."""
    assert converted(column, unit, 10.0) == pytest.approx(value, rel=2e-8)
