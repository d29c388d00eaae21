"""What is read for an action is kept while all that it rests on is the same, and no longer."""

import datetime as dt
from collections import deque
from dataclasses import replace
from types import SimpleNamespace

import polars as pl
import pytest

from pipelines.events.recorded import DeskRecord
from pipelines.queries import deciding_now, store_now

DAY = dt.date(2026, 3, 31)
RECORDED = DeskRecord(7, 7, b"", ("a record",), ("a correction",), ("a ruling",))
INPUTS = SimpleNamespace(
    workspace=SimpleNamespace(root="here"), digests={"terms": "1"}, recorded=RECORDED, as_of=DAY
)


def with_inputs(**changes):
    """The inputs with some of them other ones."""
    return SimpleNamespace(**vars(INPUTS) | changes)


@pytest.fixture
def reads(monkeypatch):
    """Each reading of rows or of evidence, in order; what is read is a number of its own."""
    seen = []

    def read(*given):
        seen.append(given)
        return len(seen)

    monkeypatch.setattr(store_now, "DECISIVE", ("rulings",))
    monkeypatch.setattr(store_now, "rows_now", read)
    monkeypatch.setattr(store_now, "_SETTLED", deque(maxlen=4))
    monkeypatch.setattr(deciding_now, "evidence_around", read)
    monkeypatch.setattr(deciding_now, "_EVIDENCE", deque(maxlen=4))
    return seen


def test_recorded_rows_are_settled_once_for_one_store_and_one_record(reads):
    """Events that are no row, such as a note, leave them; an equal record is the same."""
    first = store_now._feeds_now(None, INPUTS, "state")
    noted = with_inputs(recorded=replace(RECORDED, last_event=8, content=b"more"))
    assert store_now._feeds_now(None, noted, "state") is first
    assert first == {"rulings": 1}


@pytest.mark.parametrize(
    "changes",
    [
        {"workspace": SimpleNamespace(root="there")},
        {"digests": {"terms": "2"}},
        {"recorded": replace(RECORDED, records=())},
        {"recorded": replace(RECORDED, made=())},
        {"recorded": replace(RECORDED, rulings=("a ruling", "another"))},
    ],
    ids=["workspace", "terms", "records", "corrections", "rulings"],
)
def test_recorded_rows_are_settled_anew_where_anything_is_other(reads, changes):
    """Another workspace, other terms, a record, correction or ruling that came or went."""
    store_now._feeds_now(None, INPUTS, "state")
    assert store_now._feeds_now(None, with_inputs(**changes), "state") == {"rulings": 2}


def test_recorded_rows_are_settled_anew_after_a_refresh(reads):
    """The store tells its publication in its state."""
    store_now._feeds_now(None, INPUTS, "state")
    assert store_now._feeds_now(None, INPUTS, "another") == {"rulings": 2}


def test_evidence_is_read_once_for_the_same_rows_day_and_units(reads):
    """In whatever order the units are named; anew for other units, another day and other rows."""
    rows = {"rulings": 1}
    now = SimpleNamespace(feeds=rows, inputs=INPUTS, con=None)
    units = pl.Series(["U1", "U2", "U1"])
    assert deciding_now.evidence_now(now, units) == 1
    assert deciding_now.evidence_now(now, units.reverse().unique()) == 1
    assert deciding_now.evidence_now(now, units.head(1)) == 2
    later = SimpleNamespace(feeds=rows, inputs=with_inputs(as_of=dt.date(2026, 4, 1)), con=None)
    assert deciding_now.evidence_now(later, units) == 3
    others = SimpleNamespace(feeds=dict(rows), inputs=INPUTS, con=None)
    assert deciding_now.evidence_now(others, units) == 4
    assert deciding_now.evidence_now(now, units) == 1
