"""Near-miss serials: one edit away from exactly one known serial."""

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rapidfuzz.distance import Levenshtein

from pipelines.records.suggestions import near_misses

REGISTER = pl.Series(["W1801", "W1901", "A1", "AB12", "AB13", "LONGSERIAL0001"])
SERIALS = st.lists(st.text("AB01", max_size=5), max_size=12)


def suggested(unknown, known):
    """The suggestions as a dict."""
    frame = near_misses(pl.Series(unknown, dtype=pl.String), pl.Series(known, dtype=pl.String))
    return dict(frame.rows())


def test_a_letter_for_a_digit_is_suggested():
    """`O` for `0` is one replaced character."""
    assert suggested(["W18O1"], ["W1801", "W2801"]) == {"W18O1": "W1801"}


def test_one_character_more_or_less_is_suggested():
    """A dropped and a doubled character are one edit each."""
    known = ["TF90001", "TF71234"]
    assert suggested(["TF9001", "TF712344"], known) == {"TF9001": "TF90001", "TF712344": "TF71234"}


def test_two_candidates_give_no_suggestion():
    """A serial that is one edit from two known ones is not told."""
    assert suggested(["A3"], ["A1", "A2"]) == {}


def test_swapped_neighbors_are_two_edits():
    """A transposition is no single edit."""
    assert suggested(["AB21"], ["AB12"]) == {}


def test_known_empty_and_missing_serials_are_not_searched():
    """Only unknown serials are answered, and nothing breaks on empty input."""
    assert suggested(["A1", None, ""], ["A1", "A2", "B"]) == {}
    assert suggested([], []) == {}
    assert suggested(["A1"], []) == {}


def test_a_note_in_the_serial_column_is_not_searched():
    """A text far longer than any serial costs no search."""
    assert suggested(["X" * 5_000], ["X" * 5_001]) == {}


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
    found = dict(near_misses(pl.Series([typed]), REGISTER).iter_rows())
    assert found == ({} if suggestion is None else {typed: suggestion})


def test_many_unknown_serials_are_looked_up_together():
    """Each once, sorted, with nulls and an empty register left aside."""
    found = near_misses(pl.Series(["W18O1", None, "A", "W18O1"]), REGISTER)
    assert found.rows() == [("A", "A1"), ("W18O1", "W1801")]
    assert near_misses(pl.Series([], dtype=pl.String), REGISTER).is_empty()
    assert near_misses(pl.Series(["X1"]), pl.Series([], dtype=pl.String)).is_empty()
    assert near_misses(pl.Series(["Ü1", "Ö12"]), pl.Series(["Ö1"])).rows() == [
        ("Ö12", "Ö1"),
        ("Ü1", "Ö1"),
    ]


def test_a_page_of_junk_in_place_of_a_serial_costs_nothing():
    """Long texts are passed over, and one long unit does not slow the others."""
    serials = pl.concat([REGISTER, pl.Series(["J" * 3000])])
    found = near_misses(pl.Series(["X" * 100_000, "J" * 2999, "W18O1"]), serials)
    assert found.get_column("serial").to_list() == ["J" * 2999, "W18O1"]


@settings(max_examples=150)
@given(unknown=SERIALS, known=SERIALS)
def test_agrees_with_a_search_by_distance(unknown, known):
    """The join finds what comparing every pair by Levenshtein distance finds."""
    expected = {}
    for serial in set(unknown) - set(known) - {""}:
        near = {other for other in known if Levenshtein.distance(serial, other) == 1}
        if len(near) == 1:
            expected[serial] = near.pop()
    assert suggested(unknown, known) == expected


def test_a_large_register_is_searched():
    """A hundred thousand known serials are joined with, not compared one by one."""
    known = pl.Series([f"TF{number:07d}" for number in range(100_000)])
    found = near_misses(pl.Series(["TF000I234", "TF0099999X"]), known)
    assert found.rows() == [("TF0099999X", "TF0099999")]
