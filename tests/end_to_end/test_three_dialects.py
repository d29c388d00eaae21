"""The same company's exports in English, in German with short ERP names, in French: all is read."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest

from tests.bench import ENDS
from tests.dialects import DIALECTS, Company

KEYS = {"units": "serial", "startups": "report", "service_calls": "call", "water_tests": "sample"}


@pytest.fixture(scope="module", params=DIALECTS, ids=lambda dialect: dialect.name)
def dialect(request):
    """One dialect."""
    return request.param


def text(value):
    """A value of the truth as a record's text says it; numbers as numbers."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return value.isoformat() if isinstance(value, dt.date) else value


def same(found, true):
    """Whether a record's text is what is true; measured values to eight digits."""
    if true is None or found is None:
        return found is true
    if isinstance(true, Decimal):
        return Decimal(found) == true
    if isinstance(true, float):
        return abs(float(found) - true) <= 1e-8 * abs(true)
    return found == text(true)


def test_records_accounts_and_values_equal_the_truth(bench, dialect):
    """Every row ends where its writer says, and every record says what was meant."""
    lines = (bench.folder / "reference/models.csv").read_text(encoding="utf-8").splitlines()
    models = [line.split(",")[0] for line in lines[1:]]
    company = Company(dialect, bench.folder / "exports", bench.folder / "mappings", models)
    truth = company.write()
    told = bench.check()
    for feed, counts in truth.counts.items():
        lines = [one for one in told["accounts"] if one["feed"] == feed]
        assert lines
        found = {
            name: sum(one[name] for one in lines) for name in ("rows_read", "rows_split", *ENDS)
        }
        assert {n: c for n, c in found.items() if c} == {n: c for n, c in counts.items() if c}, feed
    for feed, records in truth.records.items():
        found = {row[KEYS[feed]]: row for row in bench.records(feed)}
        assert found.keys() == records.keys(), feed
        for key, values in records.items():
            for column, true in values.items():
                assert same(found[key][column], true), (feed, key, column, true, found[key][column])
    assert told["unused"] == []
