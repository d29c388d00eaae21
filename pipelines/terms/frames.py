"""Editions as frames: one row an edition and family, and one a limit.

Belongs here: laying checked tables out in columns. Does not belong here: checks (`editions`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Context, Decimal
from typing import Any

import polars as pl

from pipelines.terms.editions import Edition
from pipelines.terms.shape import GAS_READING

VALUES = pl.Schema(
    {
        "edition": pl.String(),
        "family": pl.String(),
        "effective_from": pl.Date(),
        "clock_order": pl.List(pl.String),
        "days_after_shipment": pl.Int64(),
        "latest_days_after_shipment": pl.Int64(),
        "replacement": pl.String(),
        "parts_months": pl.Int64(),
        "labor_months": pl.Int64(),
        "request_within_days": pl.Int64(),
        "bonus_parts_months": pl.Int64(),
        "bonus_labor_months": pl.Int64(),
        "file_within_days": pl.Int64(),
        "duplicate_within_days": pl.Int64(),
        "workmanship_days": pl.Int64(),
        "documents_within_days": pl.Int64(),
        "panel": pl.List(pl.String),
        "sellers": pl.List(pl.String),
        "grace_days": pl.Int64(),
        "fresh_days": pl.Int64(),
        "judged_by": pl.String(),
        "cartridge_months_mild": pl.Int64(),
        "cartridge_months_normal": pl.Int64(),
        "cartridge_months_severe": pl.Int64(),
        "mild_up_to": pl.Float64(),
        "severe_above": pl.Float64(),
        "cartridge_grace_days": pl.Int64(),
        "look_back_months": pl.Int64(),
        "delime_months": pl.Int64(),
        "delime_grace_days": pl.Int64(),
        "must_report": pl.List(pl.String),
        "two_lines_above_f": pl.Float64(),
        "two_lines_when_treated": pl.Boolean(),
        "conditions_off": pl.List(pl.String),
    }
)
WATER_LIMITS = pl.Schema(
    {
        "edition": pl.String(),
        "family": pl.String(),
        "analyte": pl.String(),
        "min": pl.Float64(),
        "max": pl.Float64(),
        "needs": pl.String(),
        "mild_at": pl.Float64(),
        "severe_at": pl.Float64(),
    }
)
INSTALLATION_LIMITS = pl.Schema(
    {
        "edition": pl.String(),
        "family": pl.String(),
        "reading": pl.String(),
        "gas": pl.String(),
        "min": pl.Float64(),
        "max": pl.Float64(),
    }
)
# How long the documents that a claim asks for may take, where an edition does not say.
DOCUMENTS_WITHIN_DAYS = 30
_EXACT = Context(prec=100)


@dataclass(frozen=True)
class Terms:
    """All editions in force and to come, in order of their dates.

    `values` has one row an edition and family, with the value of every key as it holds for that
    family. `water_limits` has one row an edition, family and analyte; `mild_at` and `severe_at` are
    the values at which the ratio to the maximum reaches `mild_up_to` and `severe_above` (null
    without a maximum and for pH). `installation_limits` has one row an edition, family, reading
    and, for gas pressure, gas. `editions` hold the same as nested tables; `sha256` is by file.
    """

    values: pl.DataFrame
    water_limits: pl.DataFrame
    installation_limits: pl.DataFrame
    editions: tuple[Edition, ...]
    sha256: dict[str, str]

    @property
    def warning(self) -> str | None:
        """That editions say of themselves that they are examples; None where none does."""
        examples = [edition.file for edition in self.editions if edition.is_example]
        return f"Claims are decided by example terms: {', '.join(examples)}." if examples else None


def lay_out(editions: Sequence[Edition], families: Sequence[str]) -> Terms:
    """The frames of checked editions, for every family; rows in order of date, then family."""
    ordered = tuple(sorted(editions, key=lambda edition: edition.effective_from))
    pairs = [
        (edition, family, edition.tables(family))
        for edition in ordered
        for family in sorted(set(families))
    ]
    values = [_values(edition, family, tables) for edition, family, tables in pairs]
    water = [row for e, f, tables in pairs for row in _water_limits(e.name, f, tables)]
    installation = [
        row for e, f, tables in pairs for row in _installation_limits(e.name, f, tables)
    ]
    return Terms(
        values=pl.DataFrame(values, schema=VALUES),
        water_limits=pl.DataFrame(water, schema=WATER_LIMITS),
        installation_limits=pl.DataFrame(installation, schema=INSTALLATION_LIMITS),
        editions=ordered,
        sha256={edition.file: edition.sha256 for edition in ordered},
    )


def _values(edition: Edition, family: str, tables: Mapping[str, Any]) -> dict[str, Any]:
    flat: dict[str, Any] = {}
    for name in ("clock", "coverage", "startup", "claims", "treatment", "maintenance"):
        flat |= tables[name]
    months = flat["cartridge_months"]
    installation = tables.get("installation", {})
    warm = installation.get("two_lines_above_f")
    row: dict[str, Any] = {key: flat.get(key) for key in VALUES}
    return (
        row
        | {
            "edition": edition.name,
            "family": family,
            "effective_from": edition.effective_from,
            "clock_order": flat["start"],
            "panel": tables["water"]["panel"],
            "sellers": [seller.strip() for seller in flat["sellers"]],
            "judged_by": flat.get("judged_by", "water"),
            "documents_within_days": flat.get("documents_within_days", DOCUMENTS_WITHIN_DAYS),
            "replacement": flat.get("replacement", "new"),
            "must_report": installation.get("must_report", []),
            "two_lines_above_f": None if warm is None else float(warm),
            "two_lines_when_treated": installation.get("two_lines_when_treated", False),
            "conditions_off": tables.get("conditions_off", []),
            "mild_up_to": float(flat["mild_up_to"]),
            "severe_above": float(flat["severe_above"]),
        }
        | {f"cartridge_months_{severity}": count for severity, count in months.items()}
    )


def _water_limits(edition: str, family: str, tables: Mapping[str, Any]) -> list[dict[str, Any]]:
    maintenance = tables["maintenance"]
    rows = []
    for analyte, limit in sorted(tables["water"].get("limits", {}).items()):
        high = limit.get("max") if analyte != "ph" else None
        rows.append(
            {
                "edition": edition,
                "family": family,
                "analyte": analyte,
                "needs": limit["needs"],
                "mild_at": _product(high, maintenance["mild_up_to"]),
                "severe_at": _product(high, maintenance["severe_above"]),
                **_bounds(limit),
            }
        )
    return rows


def _installation_limits(
    edition: str, family: str, tables: Mapping[str, Any]
) -> list[dict[str, Any]]:
    rows = []
    for reading, limit in sorted(tables.get("installation", {}).get("limits", {}).items()):
        by_gas = limit if reading == GAS_READING else {None: limit}
        for gas, bounds in by_gas.items():
            row = {"edition": edition, "family": family, "reading": reading, "gas": gas}
            rows.append(row | _bounds(bounds))
    return rows


def _bounds(limit: Mapping[str, Any]) -> dict[str, float | None]:
    return {bound: float(limit[bound]) if bound in limit else None for bound in ("min", "max")}


def _product(high: int | Decimal | None, factor: int | Decimal) -> float | None:
    """The product of two written decimals, exact, then the nearest float."""
    return None if high is None else float(_EXACT.multiply(Decimal(high), Decimal(factor)))
