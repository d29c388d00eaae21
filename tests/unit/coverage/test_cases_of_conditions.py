"""How the cases of a condition decide: the first that holds, and no claim is lost."""

import polars as pl

from pipelines.coverage.findings import Case, judged


def test_the_first_case_that_holds_decides_and_a_claim_without_one_stays() -> None:
    """A missing value holds for none; the rows keep their order; only bearing outcomes cite."""
    claims = pl.DataFrame(
        {
            "claim": ["C", "B", "A"],
            "age": [3, None, 1],
            "call_source": ["calls:1", "calls:2", "calls:3"],
            "call_sources": [["calls:1"], ["calls:2"], ["calls:3"]],
            "test": ["tests:9"] * 3,
        }
    )
    cases = [
        Case(pl.col("age") > 2, "unmet", pl.format("after {} days", "age")),
        Case(pl.col("age") > 0, "not_applicable", "in time"),
    ]
    found = judged(claims, cases, ["test"])
    assert found.select("claim", "outcome", "reason").rows() == [
        ("C", "unmet", "after 3 days"),
        ("B", None, None),
        ("A", "not_applicable", "in time"),
    ]
    assert sorted(found["evidence"][0]) == ["calls:1", "tests:9"]
    assert found["evidence"][1:].to_list() == [["calls:2"], ["calls:3"]]
