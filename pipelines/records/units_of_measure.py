"""Units in which a column may arrive, and how they become the feed's own.

Belongs here: the names of units, the factors, which unit fits which column. Does not belong here:
where a unit is told (`mapping`, `long_layout`).

Every conversion is `value * scale + shift`, rounded to nine decimals, which gives back the written
decimal (0.5 * 1000 / 1000) in spite of binary fractions.

Factors to mg/L of CaCO3 follow from molar masses (CaCO3 100.09, Ca 40.08, CaO 56.08) and the
definitions of grain and gallon, to five figures; pressures from 1 psi = 6894.757 Pa and one inch
of water = 249.089 Pa (conventional).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import polars as pl

from schemas.columns import Table, column_names, fields
from schemas.feeds import FEED_TABLES

DECIMALS = 9
_SCALE, _SHIFT = "\x00scale", "\x00shift"

_PA = {"pa": 1.0, "kpa": 1e3, "mpa": 1e6, "mbar": 100.0, "bar": 1e5, "psi": 6894.757293168}
_PA |= {"hpa": 100.0, "mmh2o": 9.80665}
_INCH_OF_WATER = 249.08891
_PA |= dict.fromkeys(("inh2o", "inwc", "inw.c.", "inw.g.", "inwg", '"wc'), _INCH_OF_WATER)
_PA |= {"psig": _PA["psi"], "inchesofwater": _INCH_OF_WATER, "inofwater": _INCH_OF_WATER}
_MASS = {"mg": 1.0, "ug": 1e-3, "g": 1e3, "ng": 1e-6}  # of a liter, to mg/L
_PER_LITER = r"/(?:l|liter|litre|ltr)"
_MASS_UNIT = re.compile(
    rf"(?:(?P<mass>mg|ug|ng|g){_PER_LITER}|(?P<parts>ppm|ppb))"
    r"(?:\(?(?:as)?(?P<species>[a-z][a-z0-9]*)\)?)?"
)
_SPECIES_FIRST = re.compile(rf"(mg|ug|ng|g)(caco3)({_PER_LITER})")
# What a result may be reported as, by column; the factor leads to the species of the column.
_SPECIES = {
    "calcium_mg_l_caco3": {"caco3": 1.0, "ca": 2.4973},
    "hardness_mg_l_caco3": {"caco3": 1.0, "ca": 2.4973},
    "alkalinity_mg_l_caco3": {"caco3": 1.0, "ca": 2.4973, "hco3": 0.82016},
    "free_chlorine_mg_l": {"cl2": 1.0},
    "total_chlorine_mg_l": {"cl2": 1.0},
    "chloride_mg_l": {"cl": 1.0},
    "sulfate_mg_l": {"so4": 1.0},
    "silica_mg_l": {"sio2": 1.0, "si": 2.1393},
    "iron_mg_l": {"fe": 1.0},
}
_OF_CACO3 = {"dh": 17.848, "dgh": 17.848, "fh": 10.0, "mmol/l": 100.09}
# Degrees are also written `°d` and `°f`, not without their sign: an `F` alone is of temperatures.
_DEGREES = {"d": _OF_CACO3["dh"], "f": _OF_CACO3["fh"]}
_SIGNS = ("°", "º", "˚", "deg")
_OF_CACO3 |= dict.fromkeys(("gpg", "gr/gal", "grain/gal", "grains/gal"), 17.118)
_OF_CACO3 |= {"grainspergallon": 17.118, "grains/gallon": 17.118}
_MICROSIEMENS = {
    "us/cm": 1.0,
    "umho/cm": 1.0,
    "umhos/cm": 1.0,
    "ms/cm": 1e3,
    "ms/m": 10.0,
    "ds/m": 1e3,
}
_MICROMETERS = {"um": 1.0, "micron": 1.0, "microns": 1.0, "mm": 1e3}
_INCHES = {"in": 1.0, "inch": 1.0, "inches": 1.0, '"': 1.0, "mm": 1 / 25.4, "cm": 1 / 2.54}
_INCHES |= {"m": 1 / 0.0254, "ft": 12.0, "in.": 1.0}
_CELSIUS, _FAHRENHEIT = ("c", "celsius"), ("f", "fahrenheit")
# As people write them; spaces are passed over.
_NO_UNITS = ("pH", "SU", "-", "S.U.", "std units", "standard units", "pH units")
_NO_UNIT = (*(unit.lower().replace(" ", "") for unit in _NO_UNITS), "phunit", "stdunit")
# As people write what stands in lower case above, without spaces.
_WRITTEN = {
    name.lower().replace(" ", ""): name
    for name in (
        *("Pa", "kPa", "MPa", "hPa", "mmH2O", "inH2O", "inWC", "in W.C.", "in W.G.", "in WG"),
        *('"WC', "inches of water", "in of water", "dH", "dGH", "fH", "mmol/L", "grains/gallon"),
        *("grains per gallon", "uS/cm", "mS/cm", "mS/m", "dS/m"),
        *("CaCO3", "HCO3", "SiO2", "SO4"),
    )
}
# Units that are known, though no column of the feeds takes them.
_ELSEWHERE = ("l", "liter", "liters", "gal", "gallon", "gallons", "m3")


@dataclass(frozen=True)
class Conversion:
    """How a value becomes the feed's unit: `value * scale + shift`."""

    scale: float = 1.0
    shift: float = 0.0

    def apply(self, value: pl.Expr) -> pl.Expr:
        """The values in the feed's unit, rounded to `DECIMALS`; as they came in the same unit."""
        if self == Conversion():
            return value
        return (value * self.scale + self.shift).round(DECIMALS)


@dataclass(frozen=True)
class RowConversion:
    """How the values of rows become the feed's unit, each by its own unit.

    `factors` has the column of units, and the scale and shift of each; a unit without a scale is
    none of the column.
    """

    factors: pl.DataFrame

    @classmethod
    def of(
        cls, column: str, rows: Sequence[tuple[str | None, float | None, float | None]]
    ) -> RowConversion:
        """From (unit, scale, shift), for a frame with the units in `column`."""
        kinds = {column: pl.String, _SCALE: pl.Float64, _SHIFT: pl.Float64}
        return cls(pl.DataFrame(rows, schema=kinds, orient="row"))

    @property
    def known(self) -> pl.Expr:
        """Whether the unit of a row fits."""
        return pl.col(_SCALE).is_not_null()

    def apply(self, value: pl.Expr) -> pl.Expr:
        """The values in the feed's unit, rounded to `DECIMALS`; as they came in the same unit.

        A value whose unit does not fit stays a number, so that its unit alone is told of.
        """
        same = (pl.col(_SCALE) == 1.0) & (pl.col(_SHIFT) == 0.0)
        changed = (value * pl.col(_SCALE) + pl.col(_SHIFT)).round(DECIMALS)
        return pl.when(same | pl.col(_SCALE).is_null()).then(value).otherwise(changed)


def takes_unit(table: type[Table], column: str) -> bool:
    """Whether a column holds a measurement, and so may arrive in a unit."""
    meta = fields(table)[column].metadata or {}
    return meta["kind"] in ("number", "analyte")


def is_unit(text: str) -> bool:
    """Whether the text names a unit of any kind, also one that no column takes."""
    measured = {name for table in FEED_TABLES.values() for name in column_names(table)}
    return _plain(text) in _ELSEWHERE or any(conversion(name, text) for name in measured)


def units_of(column: str) -> list[str]:
    """Units that a column may arrive in, one spelling of each, the feed's own among them."""
    species = [_WRITTEN.get(name, name.capitalize()) for name in _SPECIES.get(column, {})]
    masses = ["mg/L", "ug/L", "g/L", "ng/L", "ppm", "ppb"]
    tried = [
        *masses,
        *(f"{mass} as {name}" for name in species for mass in ("mg/L", "ppm")),
        *(
            _WRITTEN.get(name, name)
            for table in (_OF_CACO3, _MICROSIEMENS, _MICROMETERS, _PA, _INCHES)
            for name in table
        ),
        *("C", "F", *_NO_UNITS),
    ]
    return [unit for unit in dict.fromkeys(tried) if conversion(column, unit) is not None]


@lru_cache(maxsize=4096)
def conversion(column: str, text: str) -> Conversion | None:
    """How a column of a feed is converted from the unit; None where the unit does not fit it.

    The unit is read in any case, with µ as u, with or without a degree sign.
    """
    name = _plain(text)
    if column == "ph":
        return Conversion() if name in _NO_UNIT else None
    if column.endswith("_c"):
        return _temperature(name, _CELSIUS, _FAHRENHEIT, Conversion(5 / 9, -160 / 9))
    if column.endswith("_f"):
        return _temperature(name, _FAHRENHEIT, _CELSIUS, Conversion(9 / 5, 32.0))
    scale = _scale(column, name)
    if column.endswith("_caco3") and any(sign in text.lower() for sign in _SIGNS):
        scale = _DEGREES.get(name, scale)
    return None if scale is None else Conversion(scale)


def _scale(column: str, name: str) -> float | None:
    if "_mg_l" in column:
        if column.endswith("_caco3") and name in _OF_CACO3:
            return _OF_CACO3[name]
        return _mass_scale(name, _SPECIES.get(column, {}))
    if column.endswith("_us_cm"):
        return _MICROSIEMENS.get(name)
    if column.endswith("_um"):
        return _MICROMETERS.get(name)
    if column.endswith("_psi"):
        return _ratio(name, _PA["psi"])
    if column.endswith("_in_wc"):
        return _ratio(name, _INCH_OF_WATER)
    if column.endswith("_in"):
        return _INCHES.get(name)
    return None


def _ratio(name: str, pascals: float) -> float | None:
    return _PA[name] / pascals if name in _PA else None


def _mass_scale(name: str, species: dict[str, float]) -> float | None:
    match = _MASS_UNIT.fullmatch(_SPECIES_FIRST.sub(r"\1\3as\2", name))
    if not match:
        return None
    scale = _MASS[match["mass"]] if match["mass"] else {"ppm": 1.0, "ppb": 1e-3}[match["parts"]]
    if match["species"] is None:
        return scale
    return scale * species[match["species"]] if match["species"] in species else None


def _temperature(
    name: str, own: tuple[str, ...], other: tuple[str, ...], change: Conversion
) -> Conversion | None:
    if name in own:
        return Conversion()
    return change if name in other else None


def _plain(text: str) -> str:
    """The unit's name in lower case, µ as u, without spaces, degree signs and a closing `@25C`."""
    name = text.casefold().replace("μ", "u").replace("µ", "u")
    name = re.sub(r"\s+|[°º˚]|\bdeg(?:ree)?s?\b\.?|^deg(?=[cf]$)", "", name)
    return re.sub(r"(?<=.)(@|at)25c?$", "", name)
