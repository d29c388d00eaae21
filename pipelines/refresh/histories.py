"""Computes what is known of units and waters from the store's records.

Belongs here: reading, calling, handing on. Does not belong here: any rule.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipelines.coverage.evidence import Evidence, seen
from pipelines.histories.treatment_states import cartridge_spans
from pipelines.histories.unit_histories import Histories, build_histories
from pipelines.histories.upcoming import upcoming_matters
from pipelines.refresh.evidence import load_evidence
from pipelines.refresh.session import RefreshSession
from pipelines.water.profiles import profile_samples


@dataclass(frozen=True)
class UnitTables:
    """The tables of units and waters, and what the figures need beside them."""

    unit_histories: pl.DataFrame
    water_profiles: pl.DataFrame
    upcoming: pl.DataFrame
    cartridge_spans: pl.DataFrame
    evidence: Evidence
    histories: Histories


def unit_tables_of(session: RefreshSession) -> UnitTables:
    """All tables of units and waters as of the session's day."""
    inputs = session.inputs
    evidence = seen(load_evidence(inputs, session.con))
    histories = build_histories(
        evidence,
        inputs.terms,
        duty_hours_per_day=inputs.settings.duty_hours_per_day,
        tanks_l=inputs.settings.tanks_l,
    )
    profiles = profile_samples(
        evidence.water_tests,
        histories.units.select("serial", "site", "edition", "family"),
        inputs.terms.water_limits,
        inputs.terms.values,
        calcium_share_of_hardness=inputs.settings.calcium_share_of_hardness,
        conductivity_to_tds=inputs.settings.conductivity_to_tds,
    )
    return UnitTables(
        histories.table,
        profiles,
        upcoming_matters(evidence, histories),
        cartridge_spans(histories.covers, inputs.as_of),
        evidence,
        histories,
    )
