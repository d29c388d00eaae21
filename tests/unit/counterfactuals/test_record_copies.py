"""Copies of what bears on a claim: complete, under names of their own, and apart."""

from dataclasses import replace

import polars as pl
import pytest

from pipelines.counterfactuals import what_would_turn
from pipelines.counterfactuals.record_copies import copies
from pipelines.coverage import decide, seen
from tests.unit.coverage import bench

NEIGHBOR = bench.UNIT | {"serial": "U2"}
FITTED = {"call": "I", "serial": "U2", "kind": "treatment_install", "opened_on": "2024-02-01",
          "completed_on": "2024-02-01", "product": "SOFT"}  # fmt: skip
ORDER = {"order": "P", "line": "1", "ordered_on": "2024-02-01", "product": "SOFT", "quantity": "9",
         "condition": "new", "seller": "MAKER", "site": "S1"}  # fmt: skip
CARTRIDGES = ORDER | {"line": "2", "product": "SOFT-C"}
TEST = {"sample": "L1", "site": "S1", "point": "supply", "sampled_on": "2024-02-01", "ph": "7.5",
        "hardness_mg_l_caco3": "250"}  # fmt: skip


@pytest.fixture
def evidence():
    """A claim that is covered by what was tested, bought and fitted for its site."""
    return seen(
        bench.evidence_of(
            units=[bench.UNIT | {"model": "GEN"}, NEIGHBOR],
            service_calls=[bench.CALL | {"cause": "CORRODED"}, FITTED],
            treatment_purchases=[ORDER, CARTRIDGES],
            water_tests=[TEST],
        )
    )


def states(*marks):
    """One copy of the claim a mark."""
    rows = [{"state": mark, "claim": "K1", "call": "C1", "source": "U1"} for mark in marks]
    return pl.DataFrame(rows)


def test_what_counts_through_the_site_counts_in_every_copy(evidence, tmp_path):
    """Both copies are covered as the claim is, and neither shares a site with the other."""
    terms = bench.terms_of(tmp_path / "terms")
    assert decide(evidence, terms).decisions["verdict"].to_list() == ["covered"]
    copied = copies(evidence, states("1~", "2~"))
    assert copied.units.select("serial", "site").rows() == [("1~U1", None), ("2~U1", None)]
    assert sorted(copied.water_tests["sample"]) == ["1~L1", "2~L1"]
    decided = decide(copied, terms).decisions
    assert decided.select("claim", "verdict").rows() == [
        ("1~K1", "covered"),
        ("2~K1", "covered"),
    ]


def test_an_order_for_another_unit_of_the_site_does_not_come_along(evidence):
    """One that names a unit is that unit's alone; one that names the site alone is everybody's."""
    rows = [ORDER | {"serial": "U2"}, CARTRIDGES, ORDER | {"line": "3", "serial": "U1"}]
    bought = bench.records("treatment_purchases", rows)
    copied = copies(replace(evidence, treatment_purchases=bought), states("1~"))
    assert sorted(copied.treatment_purchases["line"]) == ["2", "3"]


def test_units_that_came_before_come_along_to_the_end_of_the_chain(evidence):
    """U1 took over from U2, that from U3, and U3 is said to have taken over from U2."""
    third = bench.records("units", [bench.UNIT | {"serial": "U3"}])
    register = pl.concat([evidence.units.select(third.columns), third]).with_columns(
        replaces=pl.col("serial").replace_strict({"U1": "U2", "U2": "U3", "U3": "U2"})
    )
    copied = copies(replace(evidence, units=register), states("1~"))
    assert sorted(copied.units.select("serial", "replaces").rows()) == [
        ("1~U1", "1~U2"),
        ("1~U2", "1~U3"),
        ("1~U3", "1~U2"),
    ]


def test_a_copy_carries_on_the_clock_of_the_unit_that_came_before(tmp_path):
    """Installed in 2022, replaced in 2024: both windows ended, in the copy as for the claim."""
    text = bench.BENCH_TERMS.replace("[clock]", '[clock]\nreplacement = "carries_on"')
    terms = bench.terms_of(tmp_path / "terms", text)
    before = bench.UNIT | {"serial": "U0", "shipped_on": "2022-01-02", "installed_on": "2022-01-20"}
    before |= {"purchased_on": "2022-01-10"}
    units = [bench.UNIT | {"replaces": "U0"}, before]
    evidence = seen(bench.evidence_of(units=units, service_calls=[bench.CALL]))
    decisions = decide(evidence, terms).decisions
    assert decisions["verdict"].to_list() == ["not_covered"]
    told = what_would_turn(evidence, terms, decisions)["K1"]
    assert told.verdict == "not_covered"
    assert [name for name, _ in told.closed] == ["within_parts_window", "within_labor_window"]
