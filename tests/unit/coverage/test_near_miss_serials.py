"""Serials that are one edit away from exactly one unit."""

import polars as pl
import pytest

from pipelines.coverage.near_misses import near_misses

SERIALS = pl.Series(["W1801", "W1901", "A1", "AB12", "AB13", "LONGSERIAL0001"])


@pytest.mark.parametrize(
    ("typed", "suggestion"),
    [
        ("W18O1", "W1801"),
        ("W181", "W1801"),
        ("W18011", "W1801"),
        ("1801", "W1801"),
        ("XW1801", "W1801"),
        ("LONGSERIAL001", "LONGSERIAL0001"),
        ("W8101", None),
        ("W1701", None),
        ("AB14", None),
        ("AB1", None),
        ("ZZZZ", None),
        ("", None),
    ],
)
def test_only_a_single_unit_one_edit_away_is_suggested(typed, suggestion):
    """Inserted, deleted or replaced; two candidates, a swap or more are no suggestion."""
    found = dict(near_misses(pl.Series([typed]), SERIALS).iter_rows())
    assert found == ({} if suggestion is None else {typed: suggestion})


def test_many_unknown_serials_are_looked_up_together():
    """Each once, sorted, with nulls and an empty register left aside."""
    found = near_misses(pl.Series(["W18O1", None, "A", "W18O1"]), SERIALS)
    assert found.rows() == [("A", "A1"), ("W18O1", "W1801")]
    assert near_misses(pl.Series([], dtype=pl.String), SERIALS).is_empty()
    assert near_misses(pl.Series(["X1"]), pl.Series([], dtype=pl.String)).is_empty()
    assert near_misses(pl.Series(["Ü1", "Ö12"]), pl.Series(["Ö1"])).rows() == [
        ("Ö12", "Ö1"),
        ("Ü1", "Ö1"),
    ]


def test_a_page_of_junk_in_place_of_a_serial_costs_nothing():
    """Long texts are passed over, and one long unit does not slow the others."""
    serials = pl.concat([SERIALS, pl.Series(["J" * 3000])])
    found = near_misses(pl.Series(["X" * 100_000, "J" * 2999, "W18O1"]), serials)
    assert found.get_column("serial").to_list() == ["J" * 2999, "W18O1"]


def test_a_suggestion_is_told_and_never_used(tools, bench):
    """The finding names the unit, the decision has none."""
    decided = bench.decide(call={"serial": "U11"})
    assert "U1 is one edit away" in tools.reasons(decided)["unit_on_register"]
    row = tools.decision(decided)
    assert (row["serial_suggestion"], row["model"], row["clock_start"]) == ("U1", None, None)


def test_a_unit_that_is_not_seen_yet_is_not_suggested(tools, bench):
    """It is not on the register as of the day."""
    decided = bench.decide(
        unit={"shipped_on": "2025-12-01", "purchased_on": None, "installed_on": None},
        call={"serial": "U11"},
        as_of="2025-06-30",
    )
    assert tools.decision(decided)["serial_suggestion"] is None
