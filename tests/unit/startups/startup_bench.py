"""A bench for reviews and recommendations: rows of text in, the tables out.

Belongs here: building them for tests. Does not belong here: expectations.
"""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipelines.coverage import seen
from pipelines.startups.tables import startup_tables
from tests.unit.coverage import bench

KEYS = """
must_report = ["flowing_pressure_psi", "level", "sample_taken"]
two_lines_above_f = 90
two_lines_when_treated = true
"""
TERMS = bench.BENCH_TERMS.replace("[installation]", "[installation]" + KEYS)
UNIT = bench.UNIT | {"model": "GEN"}
REPORT = {"report": "R1", "serial": "U1", "requested_on": "2024-01-20",
          "completed_on": "2024-02-01", "agency": "NORTH", "flowing_pressure_psi": "45",
          "level": "yes", "sample_taken": "yes"}  # fmt: skip
TEST = {"sample": "L1", "site": "S1", "point": "supply", "sampled_on": "2024-02-01",
        "reported_on": "2024-02-09", "hardness_mg_l_caco3": "150", "ph": "7.5"}  # fmt: skip
ORDER = {"order": "P1", "line": "1", "ordered_on": "2024-02-20", "product": "SOFT",
         "quantity": "1", "condition": "new", "seller": "MAKER", "serial": "U1"}  # fmt: skip
INSTALL = {"call": "I1", "serial": "U1", "kind": "treatment_install", "opened_on": "2024-02-25",
           "completed_on": "2024-02-26", "product": "SOFT"}  # fmt: skip


def tables(tmp_path, as_of="2024-12-31", text=TERMS, cover="2026-01-01", **given):
    """The tables of unit U1, of whatever feeds are given."""
    given.setdefault("units", [UNIT])
    evidence = seen(bench.evidence_of(as_of=as_of, **given))
    serials = [unit["serial"] for unit in given["units"]]
    ends = pl.DataFrame(
        {"serial": serials, "coverage_end": [dt.date.fromisoformat(cover)] * len(serials)}
    )
    folder = tmp_path / f"terms{len(list(tmp_path.iterdir()))}"
    return startup_tables(
        evidence, bench.terms_of(folder, text), ends, duty_hours_per_day=10.0, tanks_l=[60, 190]
    )


def recommendation(tmp_path, **given) -> dict:
    """The recommendation of U1."""
    [row] = tables(tmp_path, **given)["treatment_recommendations"].to_dicts()
    return row


def outcomes(tmp_path, **given) -> dict[str, str]:
    """The outcome of each reading that is looked at."""
    found = tables(tmp_path, **given)["installation_findings"]
    return dict(found.select("reading", "outcome").iter_rows())
