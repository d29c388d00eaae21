"""What pages search without the store: claims with all by which they are found."""

from __future__ import annotations

import polars as pl

from pipelines.store.searched import searched_alone
from schemas.search import SEARCHED, THINGS


def test_a_claim_is_found_by_the_numbers_of_its_unit_and_its_site() -> None:
    """Units and sites bring their claims; rows that are no records stand for themselves."""
    things = [
        {"kind": "claim", "claim": "K1", "serial": "U1", "site": "S1",
         "fields": ["K1", None, "U1"]},
        {"kind": "claim", "claim": "K2", "serial": "U2", "fields": ["K2", "U2"]},
        {"kind": "unit", "serial": "U1", "fields": ["U1", "REPORT-7"]},
        {"kind": "unit", "serial": "U3", "fields": ["U3", "REPORT-9"]},
        {"kind": "site", "site": "S1", "fields": ["S1", "SAMPLE-8"]},
        {"kind": "agency", "agency": "A1", "fields": ["A1"]},
        {"kind": "set_aside", "feed": "units", "file": "u.csv", "line": 4, "fields": ["U9"]},
        {"kind": "superseded", "feed": "units", "file": "u.csv", "line": 5, "fields": ["U1"]},
    ]  # fmt: skip
    frame = pl.DataFrame([dict.fromkeys(THINGS) | row for row in things], schema=THINGS)
    found = searched_alone(frame)
    assert found.schema == SEARCHED
    assert found.select("kind", "claim", "line", "fields").rows() == [
        ("claim", "K1", None, ["K1", "U1", "REPORT-7", "S1", "SAMPLE-8"]),
        ("claim", "K2", None, ["K2", "U2"]),
        ("set_aside", None, 4, ["U9"]),
        ("superseded", None, 5, ["U1"]),
    ]
