"""Walking the steps: what is made, what stops a run, and a request to end it."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from contextlib import contextmanager

import pytest

from pipelines.steps import in_order
from pipelines.steps.planning import Plan
from pipelines.steps.step import Check, Step, Written


class Session:
    """As much of a session as walking asks for."""

    def __init__(self, cases: dict[str, list[str]] | None = None) -> None:
        self.told: list[str] = []
        self.made: list[str] = []
        self.distrusted: dict[str, str] = {}
        self._cases = cases or {}

    @contextmanager
    def step(self, title: str) -> Iterator[None]:
        self.told.append(title)
        yield

    def cases(self, table: str) -> list[str]:
        return self._cases.get(table, [])

    def readable(self) -> None:
        return None

    def distrust(self, table: str, why: str) -> None:
        self.distrusted[table] = why


def step(name: str, *tables: str, checks: tuple[Check, ...] = ()) -> Step:
    """A step that notes which tables it was asked for."""

    def work(session: Session, wanted: Collection[str]) -> Iterator[Written]:
        for table in wanted:
            session.made.append(table)
            yield Written(table)

    return Step(name, "g", name.upper(), dict.fromkeys(tables, "A row."), work, checks=checks)


def check(table: str, wrong: list[str], *, blocking: bool) -> Check:
    """A look at a table that always finds the same."""
    return Check("adds_up", table, "It adds up.", lambda con: wrong, blocking)


@pytest.fixture
def walked(monkeypatch):
    """Walks steps of which all but the named tables are to be made."""

    def walk(session: Session, steps: tuple[Step, ...], there: Collection[str] = ()) -> Plan:
        to_make = {one.name: tuple(t for t in one.tables if t not in there) for one in steps}
        planned = Plan({one.name: tuple(one.tables) for one in steps}, to_make)
        monkeypatch.setattr(in_order, "STEPS", steps)
        monkeypatch.setattr(in_order, "plan", lambda session, selected: planned)
        return in_order.walk(session, {"whatever"})

    return walk


def test_what_is_there_is_not_made_again(walked) -> None:
    """A step all of whose tables stand is passed over, one with some makes the others."""
    session = Session()
    planned = walked(session, (step("one", "a", "b"), step("two", "c")), there={"a", "c"})
    assert session.made == ["b"]
    assert session.told == ["ONE"]
    assert not planned.is_current
    assert walked(Session(), (step("one", "a"),), there={"a"}).is_current


def test_a_table_that_does_not_fit_its_class_stops_the_run(walked) -> None:
    """The sentence names table and case; what comes after is not made."""
    session = Session({"a": ["row 3: ph in_range (15)"]})
    with pytest.raises(in_order.CheckFailedError) as stopped:
        walked(session, (step("one", "a", "b"), step("two", "c")))
    told = "The table a does not pass its check fits_schema: row 3: ph in_range (15)."
    assert str(stopped.value) == told
    assert session.made == ["a"]


def test_a_blocking_check_stops_the_run_and_takes_the_table_its_state(walked) -> None:
    """One of a table that was made does; one that warns, or of a table that stood, does not."""
    warns = check("a", ["two feeds are stale"], blocking=False)
    session = Session()
    walked(session, (step("one", "a", checks=(warns,)), step("two", "b")))
    assert session.made == ["a", "b"]
    stops = check("a", ["5 rows read, 4 told of"], blocking=True)
    session = Session()
    with pytest.raises(in_order.CheckFailedError) as stopped:
        walked(session, (step("one", "a", checks=(stops,)), step("two", "b")))
    assert "adds_up" in str(stopped.value)
    assert "5 rows read, 4 told of" in str(stopped.value)
    assert session.made == ["a"]
    assert session.distrusted == {"a": "did not pass its check adds_up"}
    session = Session()
    walked(session, (step("one", "a", "b", checks=(stops,)),), there={"a"})
    assert session.made == ["b"]
