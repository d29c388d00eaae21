"""The fourth set: files by other hands, with their truth beside them (`fourth/README.md`)."""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl

from pipelines.assist.drafts.known import Known
from tests.unit.assist.drafts.export_makers import MadeExport

FOLDER = Path(__file__).with_name("fourth")
LISTS = {
    "agency": ("agencies", "name"),
    "product": ("treatments", "description"),
    "model": ("models", "description"),
    "cause": ("causes", "description"),
    "region": ("regions", "name"),
}


def known() -> Known:
    """The register and the reference files, with the names that stand for codes."""
    register = pl.read_csv(FOLDER / "units.csv", infer_schema=False)
    codes = {name: register[name].drop_nulls().unique().sort() for name in ("serial", "site")}
    names: dict[str, dict[str, str]] = {}
    for kind, (file, name) in LISTS.items():
        listed = pl.read_csv(FOLDER / "reference" / f"{file}.csv", infer_schema=False)
        codes[kind] = listed[kind].unique().sort()
        pairs = listed.select(pl.col(name).str.to_lowercase(), kind).drop_nulls().unique()
        names[kind] = dict(pairs.filter(pl.len().over(name) == 1).iter_rows())
    return Known(codes, names)


def exports() -> list[MadeExport]:
    """Every file with its truth."""
    told = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))
    return [_export(name, one) for name, one in sorted(told.items())]


def _export(name: str, told: dict) -> MadeExport:
    truth: dict[str, str] = {}
    also: dict[str, tuple[str, ...]] = {}
    for header, one in told["columns"].items():
        if one is None:
            continue
        column = one["column"] or one["role"]
        others = [*([header] if column in truth else []), *one.get("alt", ())]
        truth.setdefault(column, header)
        also[column] = (*also.get(column, ()), *others)
    analytes = {
        lab: one["column"] for lab, one in told.get("analytes", {}).items() if one is not None
    }
    return MadeExport(name, told["feed"], "", "", truth, analytes, also, FOLDER / name)
