"""What the conditions declare of themselves is true, and enough to judge by."""

from datetime import date
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

import pipelines.coverage.conditions as room
from pipelines.coverage import seen
from pipelines.coverage.claims import claims_of
from pipelines.coverage.duplicates import with_twins
from pipelines.coverage.judging import CONDITIONS, judge_in_order
from schemas import codes
from tests.unit.coverage import bench

WORKED = Path(__file__).parents[2] / "cases" / "worked_claims"
# What several conditions share, and no condition itself.
SHARED = {"__init__", "gates", "windows"}


@pytest.fixture(scope="module")
def worked():
    """The worked claims: as they are at first, what is on record, terms, the judged, findings."""
    as_of = date.fromisoformat((WORKED / "expected" / "as_of.txt").read_text().strip())
    evidence, terms = bench.read_workspace(WORKED / "workspace", as_of)
    evidence = seen(evidence)
    claims = with_twins(claims_of(evidence, terms)).sort("claim")
    claims = claims.with_columns(serial_suggestion=pl.lit(None, pl.String))
    assert claims.height > 20
    return claims, evidence, terms, *judge_in_order(claims, evidence, terms)


def test_every_module_of_the_room_is_a_condition_in_its_place():
    """The list of names, the modules and the paragraphs of decisions.md are one order."""
    modules = {path.stem for path in Path(room.__file__).parent.glob("*.py")} - SHARED
    assert modules == set(codes.CONDITIONS)
    assert [condition.CLAUSE.paragraph for condition in CONDITIONS.values()] == [*range(1, 21)]


def test_every_clause_rests_on_terms_or_on_records():
    """One of the two, so that a letter can name it."""
    for condition in CONDITIONS.values():
        assert bool(condition.CLAUSE.terms) != bool(condition.CLAUSE.records)


def test_every_fact_adds_what_it_declares_and_keeps_the_claims(worked):
    """No column more, no column less, no row lost or moved."""
    _, evidence, terms, judged, _ = worked
    facts = {fact for condition in CONDITIONS.values() for fact in condition.FACTS}
    assert facts
    for fact in facts:
        before = judged.drop(fact.columns)
        after = fact.add(before, evidence, terms)
        assert set(after.columns) - set(before.columns) == set(fact.columns)
        assert_frame_equal(after.select(judged.columns), judged)


@pytest.mark.parametrize(
    "name", [name for name in codes.CONDITIONS if any(f.needed_by for f in CONDITIONS[name].FACTS)]
)
def test_claims_that_ask_for_no_fact_are_judged_without_it(worked, name):
    """The findings are the same where a fact was not worked out, and its columns of their kinds."""
    _, evidence, terms, judged, findings = worked
    condition = CONDITIONS[name]
    short = judged
    for fact in (fact for fact in condition.FACTS if fact.needed_by):
        short = short.filter(~fact.needed_by().fill_null(False))
    assert 0 < short.height < judged.height
    for fact in (fact for fact in condition.FACTS if fact.needed_by):
        short = fact.added(short.drop(fact.columns), evidence, terms)
        assert {short[column].null_count() for column in fact.columns} == {short.height}
        assert [short.schema[c] for c in fact.columns] == [judged.schema[c] for c in fact.columns]
    assert_frame_equal(
        condition.judge(short, evidence),
        findings[name].join(short.select("claim"), on="claim", how="semi", maintain_order="left"),
    )


@pytest.mark.parametrize("name", codes.CONDITIONS)
def test_a_condition_needs_no_fact_that_it_does_not_declare(worked, name):
    """Judged by its own facts and the outcomes before it alone, it finds the same."""
    plain, evidence, _, judged, findings = worked
    condition = CONDITIONS[name]
    before = codes.CONDITIONS[: codes.CONDITIONS.index(name)]
    declared = [column for fact in condition.FACTS for column in fact.columns]
    alone = judged.select(*plain.columns, *before, *declared)
    assert_frame_equal(condition.judge(alone, evidence), findings[name])


def test_paragraphs_are_those_of_the_contract():
    """Twenty conditions, numbered in their order, so that a letter names the right paragraph."""
    told = [CONDITIONS[name].CLAUSE.paragraph for name in codes.CONDITIONS]
    assert told == list(range(1, 21))
