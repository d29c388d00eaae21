"""Units that took over from others: whose clock runs, and what is said where none can."""

from datetime import date

import polars as pl
import pytest

from pipelines.coverage import replacements
from pipelines.coverage.clock import unit_terms

OLD = {
    "serial": "A",
    "shipped_on": "2023-01-02",
    "purchased_on": "2023-01-10",
    "installed_on": "2023-02-01",
}
NEW = {
    "serial": "B",
    "shipped_on": "2024-01-02",
    "purchased_on": "2024-01-10",
    "installed_on": "2024-01-20",
    "replaces": "A",
}
LAST = (
    NEW
    | {"serial": "C", "shipped_on": "2024-06-03", "purchased_on": "2024-06-05"}
    | {
        "installed_on": "2024-06-10",
        "replaces": "B",
    }
)


@pytest.fixture
def clocks(tools, bench):
    """Gives, by serial, the rows of `unit_terms` with the sentence on the replaced unit."""

    def rows(*units, terms="carries_on"):
        text = tools.BENCH_TERMS
        if terms is not None:
            text = text.replace("[clock]", f'[clock]\nreplacement = "{terms}"')
        frame = tools.records("units", [tools.UNIT | {"replaces": None} | unit for unit in units])
        models = tools.reference("models", tools.REFERENCE_ROWS["models"])
        told = unit_terms(frame, models, bench.terms(text))
        told = told.with_columns(told=replacements.in_words())
        return {row["serial"]: row for row in told.iter_rows(named=True)}

    return rows


@pytest.mark.parametrize("terms", [None, "new"])
def test_a_new_clock_starts_unless_the_terms_say_otherwise(clocks, terms):
    """Without the key, and with `new`, the unit's own installation starts its clock."""
    row = clocks(OLD, NEW, terms=terms)["B"]
    assert (row["clock_start"], row["clock_source"]) == (date(2024, 1, 20), "installed_on")
    assert row["told"] == "It took over from A; a clock of its own runs."


def test_the_clock_and_the_windows_carry_on(clocks):
    """The windows are counted from the replaced unit's clock; the own clock is kept beside it."""
    rows = clocks(OLD, NEW)
    assert rows["B"]["clock_start"] == rows["A"]["clock_start"] == date(2023, 2, 1)
    assert rows["B"]["clock_source"] == "replaced_unit"
    assert rows["B"]["parts_base_end"] == date(2024, 8, 1)
    assert rows["B"]["own_clock_start"] == date(2024, 1, 20)
    assert rows["A"]["replaced_on"] == date(2024, 1, 20)
    assert rows["A"]["told"] is None


def test_a_chain_is_followed_to_its_first_unit(clocks):
    """The third unit has the first one's clock."""
    row = clocks(OLD, NEW, LAST)["C"]
    assert (row["clock_start"], row["clock_source"]) == (date(2023, 2, 1), "replaced_unit")
    assert row["told"].startswith("It took over from B and carries on its clock, which began on")


@pytest.mark.parametrize(
    ("units", "said"),
    [
        ([NEW | {"replaces": "Z9"}], "Z9 as the unit that it took over from, which is not on the"),
        ([NEW | {"replaces": "B"}], "which is the unit itself."),
        ([OLD | {"shipped_on": "2024-01-03"}, NEW], "which was shipped after this unit."),
        (
            [OLD | {"shipped_on": "2024-01-02", "replaces": "B"}, NEW],
            "which is in turn a replacement of this unit.",
        ),
        (
            [OLD | {"shipped_on": "2019-01-02", "purchased_on": "2019-01-10"}, NEW],
            "which has no terms in force, and so no clock.",
        ),
    ],
)
def test_a_link_that_leads_nowhere_is_said_and_the_own_clock_runs(clocks, units, said):
    """Unknown serials, circles and records that contradict each other carry nothing on."""
    row = clocks(*units)["B"]
    assert (row["clock_start"], row["clock_source"]) == (date(2024, 1, 20), "installed_on")
    assert said in row["told"]


def test_two_units_that_name_the_same_one_both_carry_on_and_it_is_said(clocks):
    """The records do not tell which of them took its place."""
    rows = clocks(OLD, NEW, LAST | {"replaces": "A"})
    for serial in "BC":
        assert rows[serial]["clock_start"] == date(2023, 2, 1)
        assert "2 units say that they took over from A" in rows[serial]["told"]


def test_deliming_and_start_up_are_counted_from_the_own_clock(tools, bench):
    """A new machine came clean and is started up itself, whatever its cover carries on."""
    terms = tools.BENCH_TERMS.replace("[clock]", '[clock]\nreplacement = "carries_on"')
    decided = bench.decide(
        unit={"serial": "B", "model": "BOIL", "replaces": "A", **_dates("2024-01-20")},
        units=[tools.UNIT | OLD | {"model": "BOIL"}],
        call={
            "serial": "B",
            "failed_on": "2024-04-01",
            "opened_on": "2024-04-02",
            "cause": "SCALED",
        }
        | {"completed_on": "2024-04-03", "claimed_on": "2024-04-04"},
        water_tests=[
            {"sample": "W1", "site": "S1", "point": "supply", "sampled_on": "2024-02-01"}
            | {"hardness_mg_l_caco3": "50", "ph": "7"}
        ],
        terms=terms,
    )
    assert tools.decision(decided)["clock_start"] == date(2023, 2, 1)
    assert tools.outcomes(decided)["delimed"] == "met"


def _dates(installed):
    return {"shipped_on": "2024-01-02", "purchased_on": "2024-01-10", "installed_on": installed}


def test_only_replaced_units_are_added_to_a_part_of_the_register(tools):
    """The chain of the units asked for, and no other unit."""
    register = tools.records("units", [tools.UNIT | u for u in (OLD, NEW, LAST)])
    asked = register.filter(pl.col("serial") == "C")
    found = replacements.with_predecessors(asked, register)
    assert found["serial"].sort().to_list() == ["A", "B", "C"]
    asked = register.filter(pl.col("serial") == "A")
    assert replacements.with_predecessors(asked, register)["serial"].to_list() == ["A"]
