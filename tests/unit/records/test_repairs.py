"""What is a repair, what is a claim, on which day the unit failed and a claim was filed."""

from datetime import date

import duckdb
import polars as pl
import pytest

from pipelines.records.repairs import claims_among, filing_day, is_claim, is_repair, repairs_of
from pipelines.store.repairs import IS_CLAIM, IS_REPAIR
from schemas.codes import KINDS

OPENED, FAILED, FILED = date(2024, 3, 5), date(2024, 3, 2), date(2024, 3, 20)
CALLS = pl.DataFrame(
    [
        {"call": f"{kind}-{claim}", "kind": kind, "claim": claim, "opened_on": OPENED}
        for kind in (*KINDS, None)
        for claim in ("K1", None)
    ]
).with_columns(failed_on=pl.lit(None, pl.Date), claimed_on=pl.lit(None, pl.Date))


def test_a_claim_is_a_repair_with_a_claim_number():
    """Neither a claim number alone nor a repair alone makes one (decisions.md, opening)."""
    assert repairs_of(CALLS)["call"].to_list() == ["repair-K1", "repair-None"]
    assert claims_among(CALLS)["call"].to_list() == ["repair-K1"]


@pytest.mark.parametrize(("stated", "used"), [(FAILED, FAILED), (None, OPENED)])
def test_the_day_of_failure_is_the_stated_one_else_the_opening(stated, used):
    """d = failed_on, else opened_on; which of the two it was is told (decisions.md, opening)."""
    calls = CALLS.with_columns(failed_on=pl.lit(stated, pl.Date))
    found = claims_among(calls).select("failed_on", "failure_stated").row(0)
    assert found == (used, stated is not None)


@pytest.mark.parametrize(("claimed", "counted"), [(FILED, FILED), (None, OPENED)])
def test_a_claim_counts_on_its_filing_else_on_the_opening_of_its_call(claimed, counted):
    """A claim without a filing date is not lost from any count."""
    calls = CALLS.with_columns(claimed_on=pl.lit(claimed, pl.Date))
    assert calls.select(filing_day()).to_series().unique().to_list() == [counted]


@pytest.mark.parametrize(("sql", "rule"), [(IS_REPAIR, is_repair), (IS_CLAIM, is_claim)])
def test_the_store_filters_by_the_same_rule(sql, rule):
    """The SQL of the store picks the calls that the expression picks, nulls included."""
    service_calls = CALLS  # which the query below finds by its name
    picked = duckdb.sql(f"select call from service_calls where {sql} order by call").pl()
    assert service_calls.filter(rule())["call"].sort().to_list() == picked["call"].to_list()
    assert 0 < picked.height < CALLS.height
