"""The decision in one sentence: what is payable, to the cent, and how many papers are missing."""

from decimal import Decimal

import polars as pl
import pytest

from pipelines.letters.clauses import VALUE_COLUMNS, clause
from pipelines.letters.wording import decision


def said(standing: str, total: str = "0.00", documents: int = 0) -> str:
    """The sentence of one claim."""
    claim = pl.DataFrame(
        {
            "standing": [standing],
            "total_standing": [Decimal(total)],
            "documents": [[f"document {n}" for n in range(documents)]],
        },
        schema_overrides={
            "total_standing": pl.Decimal(18, 2),
            "documents": pl.List(pl.String),
        },
    )
    return claim.select(decision("USD")).item()


@pytest.mark.parametrize(
    ("total", "shown"),
    [
        ("0.05", "0.05"),
        ("7.00", "7.00"),
        ("123.40", "123.40"),
        ("1234.50", "1,234.50"),
        ("12345.67", "12,345.67"),
        ("1234567.89", "1,234,567.89"),
    ],
)
def test_money_is_to_the_cent_with_separators_of_thousands(total: str, shown: str) -> None:
    """Three digits to a group, also where the first group is full."""
    assert said("covered", total) == f"The claim is covered: {shown} USD is payable."
    assert (
        said("covered_in_part", total) == f"The claim is covered in part: {shown} USD is payable."
    )
    ruled = f"The claim is not covered; {shown} USD is payable all the same."
    assert said("not_covered", total) == ruled


def test_nothing_payable_is_said_so() -> None:
    """A claim that is not covered names no sum of nothing."""
    assert said("not_covered") == "The claim is not covered, and nothing is payable."


@pytest.mark.parametrize(
    ("documents", "more"),
    [
        (0, "."),
        (1, ": one document is missing."),
        (2, ": 2 documents are missing."),
        (11, ": 11 documents are missing."),
    ],
)
def test_missing_documents_are_counted(documents: int, more: str) -> None:
    """None, one, or so many."""
    said_ = said("needs_evidence", documents=documents)
    assert said_ == f"The claim cannot be decided yet{more}"


def test_a_clause_counts_days_and_months_in_words_that_agree() -> None:
    """Terms of one day and one month read as well as those of many."""
    named = {"condition": "only_claim_for_failure", "position": 6, "edition": "T"}
    claims = pl.DataFrame([named | dict.fromkeys(VALUE_COLUMNS, n) for n in (1, 2)])
    delimed = {"condition": pl.lit("delimed"), "position": pl.lit(20)}
    longer = {"condition": pl.lit("within_parts_window"), "position": pl.lit(10)}
    said = [
        claims.with_columns(**of)
        .select(clause())
        .to_series()
        .str.extract("terms T: (.*)")
        .to_list()
        for of in ({}, delimed, longer)
    ]
    assert said == [
        [
            "failures up to 1 day apart are taken for one",
            "failures up to 2 days apart are taken for one",
        ],
        [
            "deliming every 1 month, 1 day of grace for deliming",
            "deliming every 2 months, 2 days of grace for deliming",
        ],
        [
            "1 month of parts cover, 1 more month of parts cover with a start-up in time",
            "2 months of parts cover, 2 more months of parts cover with a start-up in time",
        ],
    ]
