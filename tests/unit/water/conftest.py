"""Small records, terms and treatments for the tests of water."""

from collections.abc import Callable
from datetime import date
from typing import Any

import polars as pl
import pytest

from schemas import codes
from schemas.columns import polars_schema
from schemas.feeds import WaterTests
from schemas.reference import Treatments

SOUND = {
    "site": "S1",
    "point": "supply",
    "sampled_on": date(2025, 3, 1),
    "ph": 7.8,
    "hardness_mg_l_caco3": 200.0,
    "calcium_mg_l_caco3": 140.0,
    "alkalinity_mg_l_caco3": 150.0,
    "chloride_mg_l": 30.0,
    "sulfate_mg_l": 40.0,
    "silica_mg_l": 12.0,
    "temperature_c": 12.0,
}


@pytest.fixture
def water_tests() -> Callable[..., pl.DataFrame]:
    """Records of `water_tests`: a sound hard water, changed by the given values."""

    def build(*rows: dict[str, Any]) -> pl.DataFrame:
        schema = dict(polars_schema(WaterTests))
        schema |= {f"{name}_below": pl.Float64 for name in codes.ANALYTES}
        schema |= {"source_file": pl.String, "source_line": pl.Int64}
        filled = [{"sample": f"LAB-{i}", **SOUND, **row} for i, row in enumerate(rows, 1)]
        return pl.DataFrame(filled, schema=schema)

    return build


@pytest.fixture
def units() -> pl.DataFrame:
    """Two units at one site under different terms, and one elsewhere."""
    return pl.DataFrame(
        {
            "serial": ["U2", "U1", "U3"],
            "site": ["S1", "S1", "S3"],
            "edition": ["new", "old", "old"],
            "family": ["Beck", "Beck", "Beck"],
        }
    )


@pytest.fixture
def limits() -> pl.DataFrame:
    """Water limits of two editions: the old one is stricter on hardness."""
    rows = [
        ("old", "hardness_mg_l_caco3", None, 100.0, "scale", 100.0, 200.0),
        ("old", "chloride_mg_l", None, 50.0, "chloride", 50.0, 100.0),
        ("old", "ph", 6.8, 8.8, "ph", None, None),
        ("old", "chloramine_mg_l", None, 0.2, "chloramine", 0.2, 0.4),
        ("new", "hardness_mg_l_caco3", None, 300.0, "scale", 300.0, 600.0),
    ]
    return pl.DataFrame(
        rows,
        schema={
            "edition": pl.String,
            "analyte": pl.String,
            "min": pl.Float64,
            "max": pl.Float64,
            "needs": pl.String,
            "mild_at": pl.Float64,
            "severe_at": pl.Float64,
        },
        orient="row",
    ).with_columns(family=pl.lit("Beck"))


@pytest.fixture
def values() -> pl.DataFrame:
    """What else the terms say that bears on water."""
    return pl.DataFrame(
        {
            "edition": ["new", "old"],
            "family": ["Beck", "Beck"],
            "effective_from": [date(2024, 1, 1), date(2020, 1, 1)],
            "panel": [["hardness_mg_l_caco3"], ["hardness_mg_l_caco3", "ph"]],
            "cartridge_months_mild": [9, 9],
            "cartridge_months_normal": [6, 6],
            "cartridge_months_severe": [3, 3],
            "delime_months": [4, 4],
        }
    )


@pytest.fixture
def treatments() -> pl.DataFrame:
    """A softener, a carbon system, two membranes (one wrongly credited), and cartridges."""
    rows = [
        {"product": "SOFT", "kind": "system", "removes": ["scale"]},
        {"product": "CARBON", "kind": "system", "removes": ["chloramine", "chlorine", "sediment"]},
        {
            "product": "RO-16",
            "kind": "system",
            "removes": ["chloride", "scale", "silica", "tds"],
            "rated_output_l_per_h": 16.0,
            "rated_temperature_c": 25.0,
        },
        {
            "product": "RO-BAD",
            "kind": "system",
            "removes": ["chloramine", "chloride", "scale", "silica", "tds"],
            "rated_output_l_per_h": 8.0,
        },
        {"product": "CARBON-C", "kind": "cartridge", "fits": "CARBON", "capacity_l": 9000.0},
        {"product": "SOFT-C", "kind": "cartridge", "fits": "SOFT", "capacity_l": 0.0},
    ]
    empty = {"removes": []}
    return pl.DataFrame([{**empty, **row} for row in rows], schema=polars_schema(Treatments))
