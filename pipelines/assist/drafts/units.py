"""In which unit a column probably arrives: what its header says, its cells, or their size.

Belongs here: finding units and what speaks for them, the ranges of sound values. Does not belong
here: factors and names of units (`pipelines.records.units_of_measure`).
"""

from __future__ import annotations

import re

import polars as pl

from pipelines.assist.drafts.profiles import Profile
from pipelines.records.steps import unit_part
from pipelines.records.units_of_measure import Conversion, conversion
from schemas.columns import fields
from schemas.feeds import FEED_TABLES
from schemas.polars_types import median_of

# Sound values in the feed's unit; common practice, no source: wide enough for odd kitchens.
RANGES: dict[str, tuple[float, float]] = {
    "ph": (2, 13),
    "tds_mg_l": (0, 20_000),
    "conductivity_us_cm": (0, 30_000),
    "hardness_mg_l_caco3": (0, 2_500),
    "calcium_mg_l_caco3": (0, 2_500),
    "alkalinity_mg_l_caco3": (0, 2_500),
    "free_chlorine_mg_l": (0, 20),
    "total_chlorine_mg_l": (0, 20),
    "chloride_mg_l": (0, 10_000),
    "sulfate_mg_l": (0, 10_000),
    "silica_mg_l": (0, 400),
    "iron_mg_l": (0, 100),
    "sediment_um": (0, 5_000),
    "temperature_c": (-5, 110),
    "flowing_pressure_psi": (1, 250),
    "static_pressure_psi": (1, 250),
    "supply_temperature_f": (31, 215),
    "gas_pressure_in_wc": (0.5, 60),
    "drain_air_gap_in": (0, 40),
    "side_clearance_in": (0, 200),
    "labor_hours": (0, 100),
    "labor_rate": (5, 900),
    "quantity": (1, 10_000),
    "water_lines": (1, 2),
}
# Other units that are usual for a column and whose size cannot be taken for the feed's.
_USUAL = {
    "flowing_pressure_psi": ("bar", "kPa"),
    "static_pressure_psi": ("bar", "kPa"),
    "supply_temperature_f": ("C",),
    "gas_pressure_in_wc": ("mbar", "kPa"),
    "conductivity_us_cm": ("mS/cm",),
    "iron_mg_l": ("ug/L",),
}
# How the columns in inches, pounds and °F end, whose exports elsewhere are metric.
OF_INCHES = ("_psi", "_f", "_in", "_in_wc")
# What is measured as a species, and which ones leave the question open.
BASED = (
    "calcium_mg_l_caco3",
    "hardness_mg_l_caco3",
    "alkalinity_mg_l_caco3",
    "silica_mg_l",
)
# Short names have no slash: `mg_l_Ca`, `uS_cm`, `FE_UGL`.
_FRACTION = re.compile(
    r"(?i)(?<![a-z])([munµμ]?g|[munµμ]?s|umhos?)[\s_]+(l|cm)(?![a-z])"
    r"|(?<![a-z])([muµμ]g|[muµμ]s)(l|cm)(?![a-z])"
)
_GLUED = re.compile(  # `HARDGPG`, `TEMPCEL`
    r"(?i)(?<=[a-z]{3})(gpg|ppm|ppb|psi|mbar|bar|kpa|mm|cm|cel|fah)$"
)
_GLUED_AS = {"cel": "C", "fah": "F"}
_ION = re.compile(r"(?i)(?<![a-z])HCO_?3(?![a-z])")  # of itself, where CaCO3 is not named
_AMOUNT_OF_SUBSTANCE = re.compile(r"(?i)^m(?:mol|val)\s*/\s*l")
_OPEN_UNIT = r"(?i)^(?:mg|ug|µg|g|ng)\s*/\s*(?:l|ltr|liter|litre)$|^pp[mb]$|^$"
_SPECIES = re.compile(
    r"(?i)ca\s*co\s*_?3|\bas\s+ca\b|\bals\s+ca\b|\ben\s+ca\b|(?:as|als|en)\s+hco\s*3|si\s*o\s*_?2|\bas\s+si\b"
)


def is_measured(feed: str, column: str) -> bool:
    """Whether a column holds a measurement, and so may arrive in a unit."""
    field = fields(FEED_TABLES[feed]).get(column)
    return field is not None and (field.metadata or {})["kind"] in ("number", "analyte")


def unit_in_name(column: str, header: str) -> str | None:
    """The unit that a header names and that fits the column, also the feed's own; else None."""
    header = _FRACTION.sub(lambda match: "/".join(filter(None, match.groups())), header)
    bracketed: list[str] = re.findall(r"[(\[{]\s*(.*?)\s*[)\]}]", header)
    tail = re.split(r"[\s_,;:]+", re.sub(r"[(\[{].*?[)\]}]", " ", header).strip())
    joined = [" ".join(tail[-size:]) for size in (3, 2, 1) if len(tail) > size]
    bracketed += [part for text in bracketed for part in re.split(r"\s*[,;]\s*", text)]
    bracketed += [re.sub(r"(?i)^(?:as|in|als|en)\s+", "mg/L as ", text) for text in bracketed]
    glued = _GLUED.search(header.strip())
    joined += [_GLUED_AS.get(glued[1].lower(), glued[1])] if glued else []
    for text in [*bracketed, *joined]:
        if text and column != "ph" and conversion(column, text) is not None:
            return f"{text} as HCO3" if _is_of_ion(column, header, text) else text
    return None


def _is_of_ion(column: str, header: str, unit: str) -> bool:
    """Whether a header names hydrogen carbonate itself, and its unit not what it is counted as."""
    names_ion = _ION.search(header) and "caco" not in header.lower()
    is_open = re.search(_OPEN_UNIT, unit.strip()) is not None
    return column == "alkalinity_mg_l_caco3" and bool(names_ion) and is_open


def counts_acid(column: str, unit: str | None) -> bool:
    """Whether alkalinity counts the acid that it takes up: 1 mmol/L is half of one of CaCO3."""
    is_substance = _AMOUNT_OF_SUBSTANCE.match((unit or "").strip()) is not None
    return column == "alkalinity_mg_l_caco3" and is_substance


def is_plain(column: str, unit: str) -> bool:
    """Whether a unit is the feed's own, so that nothing is to be converted."""
    return conversion(column, unit) == Conversion()


def leaves_basis_open(column: str, header: str, unit: str | None) -> bool:
    """Whether nobody can tell what the results of an analyte are expressed as."""
    if column not in BASED or _SPECIES.search(header):
        return False
    return re.search(_OPEN_UNIT, (unit or "").strip()) is not None


def cell_units(column: str, profile: Profile) -> pl.DataFrame:
    """The units that stand behind numbers in cells and fit the column: `unit`, `rows`."""
    units = (
        profile.texts.with_columns(unit=unit_part(pl.col("text")))
        .filter(pl.col("unit").is_not_null())
        .group_by("unit", maintain_order=True)
        .agg(pl.col("rows").sum())
    )
    fitting = [unit for unit in units["unit"] if conversion(column, unit) is not None]
    return units.filter(pl.col("unit").is_in(fitting))


def share_in_range(column: str, numbers: pl.Series, unit: str | None) -> float:
    """The share of numbers that are sound for the column, in the unit or else in the feed's."""
    if column not in RANGES or numbers.is_empty():
        return 1.0
    to_feed_unit = conversion(column, unit) if unit is not None else None
    to_feed_unit = to_feed_unit or Conversion()
    low, high = RANGES[column]
    value = numbers * to_feed_unit.scale + to_feed_unit.shift
    return float(value.is_between(low, high).sum()) / value.len()


def fitting_unit(column: str, numbers: pl.Series) -> tuple[str, str] | None:
    """A unit in which the values are sound, where they are odd in the feed's; and why."""
    if numbers.is_empty():
        return None
    median = median_of(numbers)
    by_size = unit_by_size(column, median)
    if by_size is not None:
        return by_size
    if share_in_range(column, numbers, None) < 0.8:
        for unit in _USUAL.get(column, ()):
            if share_in_range(column, numbers, unit) >= 0.9:
                return unit, f"the values are sound in {unit} and odd in the feed's unit"
    return None


def unit_by_size(column: str, median: float) -> tuple[str, str] | None:
    """A unit that the size of the values suggests, and why; None where nothing is odd."""
    if column == "hardness_mg_l_caco3" and 0 < median < 15:
        return "gpg", "drinking water rarely has so little hardness in mg/L"
    if column == "temperature_c" and median > 40:
        return "F", "tap water is not so warm in °C"
    if column == "supply_temperature_f" and median < 33:
        return "C", "water would be frozen at that in °F"
    if column.endswith("_pressure_psi") and 0 < median < 10:
        return "bar", "supply pressure is rarely so low in psi"
    if column.endswith("_pressure_psi") and median > 150:
        return "kPa", "supply pressure is rarely so high in psi"
    if column == "gas_pressure_in_wc" and median > 16:
        return "mbar", "gas pressure at a unit is rarely so high in inches of water"
    if column == "drain_air_gap_in" and median > 8:
        return "mm", "an air gap is rarely so wide in inches"
    if column == "side_clearance_in" and median > 30:
        return "mm", "a clearance is rarely so wide in inches"
    if column == "iron_mg_l" and median > 20:
        return "ug/L", "water with so much iron in mg/L is undrinkable"
    if column == "conductivity_us_cm" and 0 < median < 5:
        return "mS/cm", "only distilled water conducts so little in uS/cm"
    return None
