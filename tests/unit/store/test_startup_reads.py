"""What is new of start-ups and waters: what was not known by the day of the published store."""

from __future__ import annotations

import datetime as dt

import duckdb
import pytest

from pipelines.store import startup_reads
from pipelines.store.database import LAST

DAY = dt.date(2026, 1, 10)
_TABLES = """
create table {0}startups (report varchar, serial varchar, agency varchar, requested_on date,
    completed_on date);
create table {0}water_tests (sample varchar, point varchar, sampled_on date, reported_on date)
"""


@pytest.fixture
def con(monkeypatch):
    """Two stores, the published one as of 5 January."""
    con = duckdb.connect()
    con.execute(f"attach ':memory:' as {LAST}")
    con.execute(_TABLES.format(""))
    con.execute(_TABLES.format(f"{LAST}."))
    con.execute("create table units as select 'U1' as serial, 'Mill' as site_name")
    con.execute("create table unit_samples (serial varchar, sample varchar, complete boolean)")
    monkeypatch.setattr(startup_reads, "_last_day", lambda con: dt.date(2026, 1, 5))
    return con


def reports(con) -> list[tuple]:
    """What is new of reports."""
    found = startup_reads.new_reports(con, DAY, 10)
    return found.select("report", "completed_on").sort("report").rows()


def test_a_report_is_new_where_it_was_not_known_before(con):
    """Delivered since, completed since, or delivered long ago with a day that has come since."""
    both = [
        ("known", "2026-01-02", "2026-01-03"),
        ("completed since", "2026-01-02", "2026-01-08"),
        ("asked for since", "2026-01-07", None),
        ("still to come", "2026-01-11", None),
    ]
    for store in ("", f"{LAST}."):
        con.executemany(f"insert into {store}startups values (?, 'U1', null, ?, ?)", both)
    con.execute("insert into startups values ('delivered since', 'U1', null, null, '2026-01-01')")
    con.execute(
        "insert into startups values ('done later', 'U1', null, '2026-01-09', '2026-02-01')"
    )
    assert reports(con) == [
        ("asked for since", None),
        ("completed since", dt.date(2026, 1, 8)),
        ("delivered since", dt.date(2026, 1, 1)),
        ("done later", None),
    ]


def test_a_result_is_new_from_the_day_on_which_it_is_seen(con):
    """One that lay there already is new once its report's day has come."""
    rows = [("old", "2026-01-01", "2026-01-05"), ("seen since", "2026-01-01", "2026-01-06"),
            ("without day", "2026-01-04", None)]  # fmt: skip
    for store in ("", f"{LAST}."):
        con.executemany(f"insert into {store}water_tests values (?, 'supply', ?, ?)", rows)
    con.execute("insert into unit_samples select 'U1', sample, true from water_tests")
    assert startup_reads.new_results(con, 10)["sample"].to_list() == ["seen since"]


def test_without_a_published_store_all_is_new(con):
    """A first refresh shows what is known."""
    con.execute(f"drop table {LAST}.startups")
    con.execute("insert into startups values ('R1', 'U1', null, null, '2026-01-01')")
    assert reports(con) == [("R1", dt.date(2026, 1, 1))]
