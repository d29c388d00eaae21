"""How records are cited: one text for the rules, its parts for whoever looks the row up."""

import polars as pl

from pipelines.coverage.evidence import (
    CITED_PARTS,
    citation,
    cited_as_text,
    cited_parts,
    structured,
)
from schemas.columns import CITATIONS

ORDERS = pl.DataFrame(
    {
        "order": ["A/1", "B:2-3"],
        "line": ["1", "x/2"],
        "source_file": ["treatment_purchases/a/b:7.csv", "treatment_purchases/ü.xlsx"],
        "source_line": [12, 3_000_000_000],
    }
)
PARTS = [
    {
        "feed": "treatment_purchases",
        "key": "A/1-1",
        "file": "treatment_purchases/a/b:7.csv",
        "line": 12,
    },
    {
        "feed": "treatment_purchases",
        "key": "B:2-3-x/2",
        "file": "treatment_purchases/ü.xlsx",
        "line": 3_000_000_000,
    },
]


def test_a_citation_tells_its_parts_whatever_signs_stand_in_them():
    """Slashes, colons and dashes in keys and file names part nothing."""
    token = pl.concat_list(citation("treatment_purchases"))
    found = ORDERS.select(structured(token).alias("evidence"))
    assert found.schema["evidence"] == CITATIONS
    assert found["evidence"].to_list() == [[PARTS[0]], [PARTS[1]]]


def test_the_parts_of_a_record_are_those_of_its_citation():
    """Whoever joins records to citations by the parts finds them."""
    found = ORDERS.select(cited_parts("treatment_purchases"))
    assert found.columns == list(CITED_PARTS)
    assert found.to_dicts() == PARTS


def test_amounts_are_no_part_of_a_cited_key():
    """Credits are cited by claim, day and number, in a text as in its parts."""
    credits = pl.DataFrame(
        {
            "claim": ["K1"], "credited_on": ["2025-03-10"], "credit": ["9"], "parts_amount": ["5"],
            "labor_amount": [None], "travel_amount": [None], "source_file": ["credits/c.csv"],
            "source_line": [2],
        }
    )  # fmt: skip
    assert (
        credits.select(cited_as_text("credits")).item() == "credits/K1-2025-03-10-9/credits/c.csv:2"
    )
    assert credits.select(cited_parts("credits")[1]).item() == "K1-2025-03-10-9"


def test_a_list_of_no_citation_and_no_list_stay_what_they_are():
    """Empty stays empty, null stays null."""
    lists = pl.DataFrame({"cited": [[], None]}, schema={"cited": pl.List(pl.String)})
    assert lists.select(structured(pl.col("cited"))).to_series().to_list() == [[], None]
