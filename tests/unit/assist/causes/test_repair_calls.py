"""Repair calls come with site, class, catch-all and the start-up readings outside the terms."""

import datetime as dt

import polars as pl
import pytest

from pipelines.assist.causes.calls import CALLS, repair_calls
from pipelines.coverage.evidence import Evidence
from schemas import codes
from schemas.columns import polars_schema
from schemas.feeds import record_schema
from schemas.reference import REFERENCE_TABLES

DAY = dt.date(2025, 3, 1)


def frame(rows, schema):
    """Rows under a schema, null where a row says nothing."""
    return pl.DataFrame([{n: row.get(n) for n in schema} for row in rows], schema=schema)


@pytest.fixture
def evidence():
    """Two units, three start-ups and a few calls."""
    feeds = {feed: [] for feed in codes.FEEDS}
    feeds["units"] = [{"serial": "A", "site": "K1"}, {"serial": "B"}]
    started = {"serial": "A", "gas": "natural", "gas_pressure_in_wc": 20.0, "level": True}
    feeds["startups"] = [
        started | {"report": "R1", "completed_on": dt.date(2025, 1, 1)},
        started | {"report": "R2", "completed_on": dt.date(2025, 2, 1), "level": False},
        started | {"report": "R3", "completed_on": dt.date(2025, 4, 1), "gas_pressure_in_wc": 5.0},
    ]
    repair = {"kind": "repair", "opened_on": DAY}
    feeds["service_calls"] = [
        repair | {"call": "2", "serial": "A", "cause": "LIMED", "notes": "lime"},
        repair | {"call": "1", "serial": "B", "cause": "OTHER"},
        repair | {"call": "3", "serial": "GONE"},
        repair | {"call": "4", "serial": "A", "opened_on": dt.date(2024, 12, 31)},
        {"call": "5", "serial": "A", "kind": "inspection", "opened_on": DAY},
    ]
    causes = [
        {"cause": "LIMED", "class": "scale"},
        {"cause": "OTHER", "class": "wear", "catch_all": True},
    ]
    tables = {name: frame([], polars_schema(table)) for name, table in REFERENCE_TABLES.items()}
    tables["causes"] = frame(causes, polars_schema(REFERENCE_TABLES["causes"]))
    records = {feed: frame(rows, record_schema(feed)) for feed, rows in feeds.items()}
    return Evidence(**records, **tables, through={}, as_of=dt.date(2025, 6, 1))


def test_calls_are_joined_with_what_is_known(evidence):
    """Only repairs, by call; a site or else the serial; no class for a catch-all."""
    units = pl.DataFrame({"serial": ["A", "B"], "edition": ["X", "X"], "family": ["F", "F"]})
    limits = pl.DataFrame(
        {
            "edition": ["X", "X"],
            "family": ["F", "F"],
            "reading": ["gas_pressure_in_wc", "gas_pressure_in_wc"],
            "gas": ["natural", "propane"],
            "min": [4.0, 8.0],
            "max": [14.0, 30.0],
        }
    )
    calls = repair_calls(evidence, units, limits)
    assert calls.schema == CALLS
    told = calls.select("call", "site", "cause", "cause_class", "catch_all", "readings").rows()
    assert told == [
        ("1", "B", "OTHER", None, True, []),
        # Of the start-ups before the call the last one counts, by the limits of its gas.
        ("2", "K1", "LIMED", "scale", False, ["gas_pressure_in_wc", "level"]),
        ("3", "GONE", None, None, False, []),
        ("4", "K1", None, None, False, []),
    ]
