"""When what a run decided before may stand."""

from __future__ import annotations

import datetime as dt
from dataclasses import fields
from types import SimpleNamespace

import duckdb
import pytest

from pipelines.store.last import Last, moment_of_its_own
from pipelines.store.states import RunState

DAY = dt.date(2026, 1, 2)
NOW = RunState(DAY, *(f.name for f in fields(RunState) if f.name != "as_of"))
BEFORE = SimpleNamespace(
    **{f.name: getattr(NOW, f.name) for f in fields(RunState)} | {"as_of": DAY}
)


def last(latest: dt.date | None = DAY, **other: object) -> Last:
    """A store of the same inputs but for `other`."""
    return Last(SimpleNamespace(**vars(BEFORE) | other), {}, latest)


def test_the_same_inputs_of_the_same_or_an_earlier_day_stand() -> None:
    """Exports and rulings may differ: what they touch is found by their rows."""
    assert last().can_stand(NOW)
    assert last(as_of=DAY - dt.timedelta(1)).can_stand(NOW)
    assert last(exports="other", recorded="other").can_stand(NOW)
    assert last(None).can_stand(NOW)


@pytest.mark.parametrize("name", ["tool", "mappings", "reference", "terms", "settings"])
def test_other_code_or_rules_do_not(name: str) -> None:
    """Each of them may turn any decision."""
    assert not last(**{name: "other"}).can_stand(NOW)


def test_a_look_back_does_not() -> None:
    """Nor does the night after one that still lies behind the latest day ever decided."""
    assert not last(as_of=DAY + dt.timedelta(1)).can_stand(NOW)
    assert not last(DAY + dt.timedelta(1), as_of=DAY - dt.timedelta(1)).can_stand(NOW)
    assert not Last(None, {}).can_stand(NOW)


def test_a_clock_that_stands_still_gives_each_publication_a_moment() -> None:
    """The history's key is claim and moment; what is of another second moves nothing."""
    at = dt.datetime(2026, 1, 10, 19)
    tick = dt.timedelta(microseconds=1)
    with duckdb.connect() as con:
        assert moment_of_its_own(con, at) == at
        con.execute("attach ':memory:' as last")
        con.execute("create table last.decision_history (claim varchar, decided_at timestamp)")
        assert moment_of_its_own(con, at) == at
        for taken, free in ((at - tick, at), (at + dt.timedelta(days=9), at), (at, at + tick)):
            con.execute("insert into last.decision_history values ('W01', ?)", [taken])
            assert moment_of_its_own(con, at) == free
        con.execute("insert into last.decision_history values ('W01', ?)", [at + tick])
        assert moment_of_its_own(con, at) == at + 2 * tick
