"""Every constant of the water chemistry, beside its source and the range it holds in.

Belongs here: numbers that somebody measured or defined, and their dependence on temperature.
Does not belong here: what is computed with them (`speciation`, `calcite`, `membrane`, `steam`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ZERO_C_IN_KELVIN = 273.15
GAS_CONSTANT_KCAL = 1.987204e-3  # kcal/(mol K); CODATA 2018
KCAL_PER_LN = GAS_CONSTANT_KCAL * np.log(10.0)

# Molar masses in g/mol from the IUPAC abridged standard atomic weights.
CALCIUM_CARBONATE_G_MOL = 100.086
CHLORIDE_G_MOL = 35.45
SULFATE_G_MOL = 96.056
SILICA_G_MOL = 60.083

LOG_PCO2_VENTED = -3.4  # the product's convention for a generator open to the air, log10 atm

# log10 K = a0 + a1 T + a2/T + a3 log10 T + a4/T^2 + a5 T^2 with T in kelvin.
# Plummer & Busenberg 1982, Geochim. Cosmochim. Acta 46:1011-1040.
CALCITE = (-171.9065, -0.077993, 2839.319, 71.595, 0.0)  # 0-90 °C; above: extrapolated
CARBONIC_1 = (-356.3094, -0.06091964, 21834.37, 126.8339, -1684915.0)  # 0-250 °C
CARBONIC_2 = (-107.8871, -0.03252849, 5151.79, 38.92561, -563713.9)  # 0-250 °C
CARBON_DIOXIDE = (108.3865, 0.01985076, -6919.53, -40.45154, 669365.0)  # 0-250 °C
CA_HCO3 = (1209.12, 0.31294, -34765.05, -478.782, 0.0)  # 0-90 °C; above: extrapolated
CA_CO3 = (-1228.732, -0.299440, 35512.75, 485.818, 0.0)  # 5-80 °C; a1 as in phreeqc.dat
# phreeqc.dat (USGS); amorphous silica after Fournier & Rowe 1977.
# The ionization of water lies within 0.016 of IAPWS R11-07 from 0 to 100 °C, as the older fit of
# wateq4f.dat does on the other side (they part by 0.027 at 100 °C). This one is taken so that
# alkaline hot water agrees with PHREEQC 3 (phreeqc.dat).
WATER = (293.29227, 0.1360833, -10576.913, -123.73158, 0.0, -6.996455e-5)  # 0-200 °C
MG_CO3 = (0.9910, 0.00667, 0.0, 0.0, 0.0)  # 10-90 °C
SILICIC_1 = (-302.3724, -0.050698, 15669.69, 108.18466, -1119669.0)  # 0-300 °C
SILICIC_2 = (-294.0184, -0.072650, 11204.49, 108.18466, -1119669.0)  # 0-300 °C
SILICA = (-0.26, 0.0, -731.0, 0.0, 0.0)  # 0-250 °C
BISULFATE = (-56.889, 0.006473, 2307.9, 19.8858, 0.0)  # SO4-2 + H+ = HSO4-, 0-200 °C
# Mg+2 + H+ + CO3-2 = MgHCO3+ less H+ + CO3-2 = HCO3-, which leaves the association.
MG_HCO3 = (
    48.6721 - 107.8871,
    0.0,
    -2614.335 + 5151.79,
    -18.00263 + 38.92561,
    0.0,
)  # 10-90 °C

# log10 K at 25 °C and enthalpy in kcal/mol (van 't Hoff), phreeqc.dat (USGS).
# An enthalpy from measurements near 25 °C; toward 100 °C: extrapolated.
CA_SO4 = (2.25, 1.325)
MG_SO4 = (2.37, 4.550)
NA_SO4 = (0.70, 1.120)
NA_CO3 = (1.27, 8.91)
NA_HCO3 = (-0.25, -1.0)
CA_OH = (-12.78, 0.0)  # Ca+2 + H2O = CaOH+ + H+; no enthalpy on file
MG_OH = (-11.44, 15.952)  # Mg+2 + H2O = MgOH+ + H+

DAVIES_LINEAR = 0.3  # Davies 1962
DAVIES_UP_TO_MOLAL = 0.5  # beyond this the formula turns upward and means nothing
NEUTRAL_SALTING_OUT = 0.1  # log10 activity coefficient of a neutral species per molal (USGS)


@dataclass(frozen=True, slots=True)
class Constants:
    """Equilibrium constants at one temperature or at one temperature a water.

    Every field is a float64 array (0-d for a single temperature): an equilibrium constant K on the
    molal scale, but `davies_a`, the Debye-Hückel slope. `ca_oh` and `mg_oh` are hydrolysis
    constants; the other pairs are association constants.
    """

    calcite: Array
    carbonic_1: Array
    carbonic_2: Array
    carbon_dioxide: Array
    water: Array
    ca_hco3: Array
    ca_co3: Array
    ca_so4: Array
    ca_oh: Array
    mg_hco3: Array
    mg_co3: Array
    mg_so4: Array
    mg_oh: Array
    na_hco3: Array
    na_co3: Array
    na_so4: Array
    bisulfate: Array
    silicic_1: Array
    silicic_2: Array
    silica: Array
    davies_a: Array


def analytic_log_k(coefficients: tuple[float, ...], kelvin: Array) -> Array:
    """log10 K = a0 + a1 T + a2/T + a3 log10 T + a4/T^2 (+ a5 T^2)."""
    a0, a1, a2, a3, a4, *rest = coefficients
    fit = a0 + a1 * kelvin + a2 / kelvin + a3 * np.log10(kelvin) + a4 / kelvin**2
    return fit + rest[0] * kelvin**2 if rest else fit


def van_t_hoff_log_k(coefficients: tuple[float, float], kelvin: Array) -> Array:
    """log10 K carried from 25 °C by a constant enthalpy."""
    log_k, enthalpy_kcal = coefficients
    carried: Array = log_k - enthalpy_kcal / KCAL_PER_LN * (1.0 / kelvin - 1.0 / 298.15)
    return carried


def debye_huckel_slope(kelvin: Array) -> Array:
    """The slope A of the Davies equation, (kg/mol)^0.5.

    A = 1.82e6 (e T)^-1.5 with the dielectric constant e = 60954/(T + 116) - 68.937, as in
    Standard Methods 2330 (from memory); checked within 2 % against phreeqc at 0-100 °C.
    """
    dielectric = 60954.0 / (kelvin + 116.0) - 68.937
    return 1.82e6 * (dielectric * kelvin) ** -1.5


def constants_at(temperature_c: Array | float) -> Constants:
    """All constants at a temperature in °C, valid from 0 to 100."""
    kelvin = np.asarray(temperature_c, dtype=np.float64) + ZERO_C_IN_KELVIN

    def analytic(coefficients: tuple[float, ...]) -> Array:
        return np.power(10.0, analytic_log_k(coefficients, kelvin))

    def from_25(coefficients: tuple[float, float]) -> Array:
        return np.power(10.0, van_t_hoff_log_k(coefficients, kelvin))

    return Constants(
        calcite=analytic(CALCITE),
        carbonic_1=analytic(CARBONIC_1),
        carbonic_2=analytic(CARBONIC_2),
        carbon_dioxide=analytic(CARBON_DIOXIDE),
        water=analytic(WATER),
        ca_hco3=analytic(CA_HCO3),
        ca_co3=analytic(CA_CO3),
        ca_so4=from_25(CA_SO4),
        ca_oh=from_25(CA_OH),
        mg_hco3=analytic(MG_HCO3),
        mg_co3=analytic(MG_CO3),
        mg_so4=from_25(MG_SO4),
        mg_oh=from_25(MG_OH),
        na_hco3=from_25(NA_HCO3),
        na_co3=from_25(NA_CO3),
        na_so4=from_25(NA_SO4),
        bisulfate=analytic(BISULFATE),
        silicic_1=analytic(SILICIC_1),
        silicic_2=analytic(SILICIC_2),
        silica=analytic(SILICA),
        davies_a=debye_huckel_slope(kelvin),
    )
