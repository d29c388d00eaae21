"""Stages everything that people read: table files and pages, then swaps them in.

Belongs here: what is published, and the manifest. Does not belong here: how tables are written
(`pipelines.warehouse.publication`) or pages drawn (`dashboards`).
"""

from __future__ import annotations

import json

from dashboards.site import build_site
from pipelines.refresh.pages import claims_with_pages, page_data
from pipelines.refresh.session import MANIFEST, RefreshSession
from pipelines.warehouse.database import read_frame
from pipelines.warehouse.publication import write_table_files
from schemas.field import FIELD_TABLES

TABLES = (
    "row_accounts",
    "set_aside",
    "feed_states",
    "decisions",
    "findings",
    "decision_history",
    "unit_histories",
    "water_profiles",
    "upcoming",
    *FIELD_TABLES,
    "figure_sentences",
)


def stage_tables(session: RefreshSession) -> list[str]:
    """Writes each table that the store holds as Parquet and CSV; returns their names."""
    return write_table_files(session.con, TABLES, session.staging / "data")


def stage_pages(session: RefreshSession) -> int:
    """Writes all pages; returns the number of claim pages."""
    decisions = read_frame(session.con, "decisions")
    claims = claims_with_pages(decisions, session.inputs.as_of)
    build_site(page_data(session, claims), session.staging, claims.to_list())
    return claims.len()


def publish(session: RefreshSession) -> None:
    """Puts down what store and pages say of themselves, and swaps both in."""
    facts = {
        "as_of": session.inputs.as_of.isoformat(),
        "inputs": session.inputs.fingerprint,
        "refreshed_at": session.decided_at.isoformat(timespec="seconds"),
    }
    session.write_facts(**facts)
    text = json.dumps(session.facts(), indent=2, sort_keys=True)
    (session.staging / MANIFEST).write_text(text + "\n", encoding="utf-8")
    session.commit()
