"""The sample's own terms and reference files, as tables that the generator can look up.

Belongs here: reading `written/` and `tables/`. Does not belong here: a second reading of terms for
decisions; this one knows only what the sample needs to be plausible.
"""

from __future__ import annotations

import datetime as dt
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
import polars as pl

WRITTEN = files("sample_data") / "written"
TABLES = files("sample_data") / "tables"
FAMILIES = ("Skerry", "Beck", "Force", "Linn")
ABILITIES = ("scale", "tds", "chloride", "silica", "chlorine", "chloramine", "sediment", "ph")
_NO_TIME = 10**6  # days: without a cap the clock waits as long as it takes


@dataclass(frozen=True)
class Editions:
    """Each array has one row an edition and one column a family of FAMILIES."""

    from_day: np.ndarray  # one entry an edition
    parts_months: np.ndarray
    labor_months: np.ndarray
    bonus_months: np.ndarray
    request_within_days: np.ndarray
    days_after_shipment: np.ndarray
    latest_days_after_shipment: np.ndarray
    cartridge_months: np.ndarray  # a third axis: mild, normal, severe
    severe_above: np.ndarray
    mild_up_to: np.ndarray
    delime_months: np.ndarray
    limits: list[list[dict[str, dict[str, Any]]]]  # [edition][family][analyte]


@cache
def editions() -> Editions:
    """The editions in `written/terms`, by the day from which they hold."""
    texts = [entry.read_text("utf-8") for entry in (WRITTEN / "terms").iterdir()]
    plain = sorted((tomllib.loads(text) for text in texts), key=lambda e: e["effective_from"])
    merged = [[_override(e, e.get("family", {}).get(f, {})) for f in FAMILIES] for e in plain]

    def table(*path: str, default: int | None = None) -> np.ndarray:
        return np.array([[_at(cell, path, default) for cell in row] for row in merged])

    severities = [table("maintenance", "cartridge_months", s) for s in ("mild", "normal", "severe")]
    return Editions(
        from_day=np.array([(e["effective_from"] - dt.date(1970, 1, 1)).days for e in plain]),
        parts_months=table("coverage", "parts_months"),
        labor_months=table("coverage", "labor_months"),
        bonus_months=table("startup", "bonus_parts_months"),
        request_within_days=table("startup", "request_within_days"),
        days_after_shipment=table("clock", "days_after_shipment"),
        latest_days_after_shipment=table("clock", "latest_days_after_shipment", default=_NO_TIME),
        cartridge_months=np.stack(severities, axis=-1),
        severe_above=table("maintenance", "severe_above"),
        mild_up_to=table("maintenance", "mild_up_to"),
        delime_months=table("maintenance", "delime_months"),
        limits=[[cell["water"]["limits"] for cell in row] for row in merged],
    )


def _override(below: dict[str, Any], above: dict[str, Any]) -> dict[str, Any]:
    merged = dict(below)
    for key, value in above.items():
        inner = isinstance(value, dict) and isinstance(below.get(key), dict)
        merged[key] = _override(below[key], value) if inner else value
    return merged


def _at(cell: dict[str, Any], path: tuple[str, ...], default: int | None) -> Any:
    *tables, key = path
    for table in tables:
        cell = cell[table]
    return cell[key] if default is None else cell.get(key, default)


@cache
def reference(name: str) -> pl.DataFrame:
    """One of the sample's reference files, all text."""
    return _table(WRITTEN / "reference" / f"{name}.csv")


@cache
def waters() -> pl.DataFrame:
    """The regions' waters and agencies: `tables/waters.csv`, with numbers as floats."""
    frame = _table(TABLES / "waters.csv")
    return frame.with_columns(pl.exclude("region", "agency", "other_agency").cast(pl.Float64))


@cache
def settled_claims() -> pl.DataFrame:
    """What each claim of the committed sample is worth: `tables/settled.csv`, all text."""
    return _table(TABLES / "settled.csv")


def _table(entry: Any) -> pl.DataFrame:
    return pl.read_csv(entry.read_bytes(), infer_schema=False)
