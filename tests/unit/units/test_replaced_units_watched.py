"""Units that took over from others in the histories: no day is watched twice."""

from __future__ import annotations

from datetime import date

import polars as pl
import pytest

from pipelines.coverage.evidence import seen
from pipelines.units.events import unit_events, with_earlier_lives
from pipelines.units.unit_histories import build_histories

OLD = {
    "serial": "A",
    "shipped_on": "2024-01-02",
    "purchased_on": "2024-01-05",
    "installed_on": "2024-01-10",
    "site": "S1",
}
NEW = {
    "serial": "B",
    "shipped_on": "2024-08-01",
    "purchased_on": "2024-08-05",
    "installed_on": "2024-08-10",
    "site": "S2",
    "replaces": "A",
}


@pytest.fixture
def built(tools, tmp_path):
    """Gives the evidence and the histories of some units under terms that carry on."""

    def build(*units, terms="carries_on"):
        text = tools.BENCH_TERMS.replace("[clock]", f'[clock]\nreplacement = "{terms}"')
        rows = [tools.UNIT | {"replaces": None, "retired_on": None} | unit for unit in units]
        evidence = seen(tools.evidence_of(as_of="2025-06-30", units=rows))
        return evidence, build_histories(
            evidence, tools.terms_of(tmp_path, text), duty_hours_per_day=10, tanks_l=[60]
        )

    return build


def by_serial(histories):
    """The rows of the table by serial."""
    return {row["serial"]: row for row in histories.table.iter_rows(named=True)}


@pytest.mark.parametrize("retired", [None, "2024-08-04"])
def test_each_machine_is_watched_in_its_own_days(built, retired):
    """The old one until it left, the new one from its own start to the end of the carried cover."""
    _, histories = built(OLD | {"retired_on": retired}, NEW)
    rows = by_serial(histories)
    assert rows["B"]["clock_start"] == date(2024, 1, 10)
    assert rows["B"]["clock_source"] == "replaced_unit"
    assert rows["B"]["coverage_end"] == date(2025, 7, 10)
    assert rows["B"]["watched_from"] == date(2024, 8, 10)
    assert rows["B"]["watched_until"] == date(2025, 7, 1)
    left = date(2024, 8, 5) if retired else date(2024, 8, 10)
    assert rows["A"]["watched_until"] == left
    assert (rows["A"]["replaces"], rows["B"]["replaces"]) == (None, "A")


def test_a_new_clock_changes_nothing_but_the_end_of_the_old_unit(built):
    """Under `new` the replacement has the cover of any unit."""
    _, histories = built(OLD, NEW, terms="new")
    alone = by_serial(built(NEW | {"replaces": None}, terms="new")[1])["B"]
    row = by_serial(histories)["B"]
    told = {"replaces", "replacement"}
    assert told < row.keys()
    assert {k: v for k, v in row.items() if k not in told} == {
        k: v for k, v in alone.items() if k not in told
    }


def test_a_part_of_the_fleet_keeps_to_its_own_units(built):
    """A unit elsewhere that comes along for its clock gives no row of this part."""
    _, histories = built(OLD, NEW)
    part = histories.of(pl.Series(["B"]))
    assert part.table["serial"].to_list() == ["B"]
    assert part.table.equals(histories.table.filter(pl.col("serial") == "B"))
    assert histories.of(pl.Series(["A", "B"])) is histories


def test_both_lives_are_told_and_the_earlier_one_is_marked(built):
    """The old unit's events stand beside the new one's, with the serial that they are of."""
    evidence, _ = built(OLD, NEW)
    sellers = pl.DataFrame({"serial": ["A", "B"], "site": ["S1", "S2"], "sellers": [["M"], ["M"]]})
    events = unit_events(evidence, pl.Series(["A", "B"]), sellers)
    pairs = pl.DataFrame({"serial": ["B"], "earlier": ["A"]})
    told = with_earlier_lives(events, pairs).filter(pl.col("serial") == "B")
    shipped = told.filter(pl.col("kind") == "shipped").select("on", "earlier").rows()
    assert shipped == [(date(2024, 1, 2), "A"), (date(2024, 8, 1), None)]
