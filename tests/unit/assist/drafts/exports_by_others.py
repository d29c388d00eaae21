"""Sets of files by other hands, each a folder with its truth and its README.

The serials and sites of a set's register are as a store has them.
"""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl

from pipelines.assist.drafts.known import Known
from pipelines.records.typed_values import serials
from tests.unit.assist.drafts.export_makers import MadeExport

FOLDERS = Path(__file__).parent
SETS = ("fifth", "sixth", "seventh", "eighth", "ninth", "tenth")


def known(name: str) -> Known:
    """The register of a set: serials as they are read, and sites."""
    register = pl.read_csv(FOLDERS / name / "register.csv", infer_schema=False)
    register = register.with_columns(serial=serials(pl.col("serial")))
    return Known({kind: register[kind].drop_nulls().unique().sort() for kind in register.columns})


def exports(name: str) -> list[MadeExport]:
    """Every file of a set with its truth."""
    folder = FOLDERS / name
    told = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    return [_export(folder / file, one) for file, one in sorted(told.items())]


def _export(path: Path, told: dict) -> MadeExport:
    """A header of which either is right counts for its column, but asks for none that is second."""
    better: dict[str, list[str]] = {}
    also: dict[str, list[str]] = {}
    for header, one in told["columns"].items():
        first, *others = one if isinstance(one, list) else [one]
        if first is not None:
            better.setdefault(first, []).append(header)
        for column in filter(None, others):
            also.setdefault(column, []).append(header)
    truth = {column: headers[0] for column, headers in better.items()}
    others = {
        column: (*better.get(column, [])[1:], *also.get(column, [])) for column in {*better, *also}
    }
    return MadeExport(
        path.name, told["feed"], "", "", truth, told.get("analytes", {}), others, path
    )
