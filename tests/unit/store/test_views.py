"""The views over tables that hold a handful of rows, worked out by hand."""

import datetime as dt

import duckdb
import pytest

from pipelines.store.views import make_views
from schemas.catalog import CATALOG

_TYPES = {
    "day": "date",
    "moment": "timestamp",
    "number": "double",
    "analyte": "double",
    "integer": "bigint",
    "money": "decimal(18, 2)",
    "hours": "decimal(18, 2)",
    "flag": "boolean",
    "texts": "varchar[]",
    "moves": 'struct(condition varchar, "from" varchar, "to" varchar)[]',
    "structs": "varchar",
    "binary": "blob",
    "citations": "struct(feed varchar, key varchar, file varchar, line bigint)[]",
}
AS_OF = dt.date(2026, 3, 31)


@pytest.fixture
def con():
    """A store in which every table is there and empty, but for one site of two units."""
    con = duckdb.connect()
    for name, table in CATALOG.items():
        if not table.is_view:
            columns = ", ".join(
                f'"{column.name}" {_TYPES.get(column.kind, "varchar")}' for column in table.columns
            )
            con.execute(f'create table "{name}" ({columns})')
    put(con, "units", serial="U1", model="M", shipped_on="2025-01-01", site="S",
        retired_on="2026-05-01", source_file="u.csv", source_line=2)  # fmt: skip
    put(con, "units", serial="U2", model="M", shipped_on="2025-01-02", site="S",
        source_file="u.csv", source_line=3)  # fmt: skip
    put(con, "unit_histories", serial="U1", family="F", needs=["scale"])
    put(con, "unit_histories", serial="U2", family="F", needs=[])
    return con


def put(con, table, **values):
    """Adds a row to a table; what is not named is null."""
    names = ", ".join(f'"{name}"' for name in values)
    marks = ", ".join("?" for _ in values)
    con.execute(f'insert into "{table}" ({names}) values ({marks})', list(values.values()))


def rows(con, sql):
    """What a query of the views gives, made as of the day."""
    make_views(con, AS_OF)
    return con.execute(sql).fetchall()


def test_every_view_can_be_made_over_empty_tables(con):
    """Columns and their order are the catalog's."""
    make_views(con, AS_OF)
    views = [name for name, table in CATALOG.items() if table.is_view]
    assert len(views) == 6
    for name in views:
        found = [column[0] for column in con.sql(f"from {name}").description]
        assert found == [column.name for column in CATALOG[name].columns]


def test_a_unit_s_events_hold_those_of_its_site_and_no_later_ones(con):
    """A treatment fitted at another unit of the site counts; a retirement to come does not."""
    put(con, "service_calls", call="C1", serial="U1", kind="treatment_install",
        opened_on="2025-02-01", completed_on="2025-02-02", product="P", source_file="c.csv",
        source_line=7)  # fmt: skip
    put(con, "service_calls", call="C2", serial="U2", kind="repair", opened_on="2026-04-01",
        completed_on="2026-04-02", source_file="c.csv", source_line=8)  # fmt: skip
    found = rows(con, "select serial, day::varchar, event, key, line from unit_events order by all")
    assert found == [
        ("U1", "2025-01-01", "shipped", "U1", 2),
        ("U1", "2025-02-01", "call opened", "C1", 7),
        ("U1", "2025-02-02", "call completed", "C1", 7),
        ("U1", "2025-02-02", "treatment installed", "C1", 7),
        ("U2", "2025-01-02", "shipped", "U2", 3),
        ("U2", "2025-02-02", "treatment installed", "C1", 7),
    ]


def test_a_claim_stands_beside_its_latest_ruling_seen_and_its_payment(con):
    """A ruling after the as-of day is not there yet; totals are sums of the lines."""
    put(con, "decisions", claim="K1", call="C1", serial="U1", agency="A", failed_on="2025-06-01",
        verdict="covered", **{f"{line}_{kind}": amount for kind in
        ("claimed", "payable", "standing", "if_covered")
        for line, amount in (("parts", 10), ("labor", 20), ("travel", 3))})  # fmt: skip
    put(con, "service_calls", call="C1", claim="K1", serial="U1", kind="repair", part="valve",
        opened_on="2025-06-02", failed_on="2025-06-01", notes="lime")  # fmt: skip
    for at, by in (("2025-07-01 08:00", "A"), ("2025-08-01 08:00", "B"), ("2026-04-01 08:00", "C")):
        put(
            con,
            "rulings",
            claim="K1",
            ruled_at=at,
            ruled_by=by,
            ruling="covered",
            reason=f"By {by}.",
        )
    put(con, "payments", claim="K1", state="paid", total_credited=33)
    put(con, "reference_agencies", agency="A", name="Old", authorized_from="2020-01-01")
    put(con, "reference_agencies", agency="A", name="New", authorized_from="2024-01-01")
    found = rows(
        con,
        "select claim, part, notes, agency_name, ruled_by, ruling_reason, total_claimed, "
        "payment_state, total_credited, shipped_on::varchar from claim_overview",
    )
    assert found == [
        ("K1", "valve", "lime", "New", "B", "By B.", 33, "paid", 33, "2025-01-01"),
    ]
    events = rows(con, "select day::varchar, event, key from unit_events where serial = 'U1'")
    assert ("2025-06-01", "failed", "C1") in events
    assert ("2025-08-01", "ruled", "K1-2025-08-01 08:00:00.000000") in events
    assert not [event for event in events if event[0] > "2026-03-31"]


def test_a_unit_s_tests_are_counted_and_the_latest_one_named(con):
    """By site as by serial, as `unit_samples` says; of one day the greatest sample is the last."""
    for sample in ("W1", "W3", "W2"):
        put(con, "water_tests", sample=sample, site="S", sampled_on="2025-05-05", point="supply",
            source_file="w.csv", source_line=2)  # fmt: skip
        put(con, "unit_samples", serial="U2", sample=sample, complete=sample == "W2")
    found = rows(con, "select serial, water_tests, latest_sample, calls, claims from unit_overview")
    assert sorted(found) == [("U1", 0, None, 0, 0), ("U2", 3, "W3", 0, 0)]
    complete = rows(con, "select sample from unit_water_tests where complete and serial = 'U2'")
    assert complete == [("W2",)]


def test_credits_of_one_day_are_one_event_a_number(con):
    """Two postings without a number on one day are told once, at the first line."""
    put(con, "decisions", claim="K1", call="C1", serial="U1")
    for line, amount in ((5, 10), (4, 20)):
        put(con, "credits", claim="K1", credited_on="2025-09-01", parts_amount=amount,
            source_file="k.csv", source_line=line)  # fmt: skip
    found = rows(con, "select key, line from unit_events where event = 'credited'")
    assert found == [("K1-2025-09-01", 4)]


def test_a_citation_finds_its_row_wherever_its_file_has_it_now(con):
    """A row keeps its hash where its file comes again in another order; one that left has none."""
    cited = [
        {"feed": "units", "key": "U1", "file": "u.csv", "line": 9},
        {"feed": "units", "key": "U2", "file": "u.csv", "line": 3},
        {"feed": "treatment_purchases", "key": "A-1-2", "file": "p.csv", "line": 2},
        {"feed": "treatment_purchases", "key": "A-1-2", "file": "p.csv", "line": 8},
    ]
    put(con, "findings", claim="C", position=1, condition="unit_on_register", evidence=cited)
    archived = [
        ("units", "U1", "u.csv", 2, "one", None),
        ("units", "U2", "u.csv", 3, "two", "2026-01-09"),
        ("treatment_purchases", "A-1-2", "p.csv", 2, "three", None),  # order A, line 1-2
        ("treatment_purchases", "A-1-2", "p.csv", 3, "four", None),  # order A-1, line 2
    ]
    for feed, key, file, line, row_sha256, left_on in archived:
        put(con, "archived_rows", feed=feed, key=key, file=file, line=line, left_on=left_on,
            row_sha256=row_sha256, arrived_on="2026-01-05")  # fmt: skip
    day = dt.date(2026, 1, 5)
    assert rows(con, "select number, row_sha256, arrived_on from evidence order by number") == [
        (1, "one", day),
        (2, None, None),
        (3, "three", day),
        (4, None, None),
    ]
