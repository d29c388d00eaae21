"""Spellings of one name: what is put together, under what, and what never is."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.assist.codes.drafts import KnownCodes, code_lines
from pipelines.assist.codes.spellings import CASE, FORM, NAME, SLIP, digits, put_together
from pipelines.assist.codes.usage import added_up, used_codes


@pytest.mark.parametrize(
    ("first", "second", "reason"),
    [
        ("Alder Bay Service", "ALDER-BAY SERVICE", CASE),
        ("Café Orin", "cafe orin", CASE),
        ("Alder Bay Service", "Alder Bay Svc.", FORM),
        ("Brindle Repair", "Brindle Repair, Inc.", FORM),
        ("Corwick Kältetechnik", "Corwick Kaltetechnik GmbH & Co. KG", FORM),
        ("Dunster Equipment", "Dunster Equip", FORM),
        ("Grünmoor & Söhne", "Gruenmoor u. Soehne", FORM),
        ("St. Anne's Kitchen", "Saint Annes Kitchen", FORM),
        ("Ellmoor", "Elmoor", SLIP),
        ("Alder Bay Service", "Alder Bya Service", SLIP),
    ],
)
def test_spellings_of_one_name_stand_under_the_most_frequent(first, second, reason):
    """Case, punctuation, legal forms, usual abbreviations and small slips make no other name."""
    leader, other = put_together([first, second])
    assert (leader.means, leader.reason) == (first, "")
    assert (other.means, other.reason) == (first, reason)
    assert 0.8 < other.likeness <= 1


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("SOFT-10", "SOFT-20"),
        ("Kitchen Nr 1", "Kitchen Nr 2"),
        ("Alder Bay Service 1", "Alder Bay Service"),
        ("VX", "VZ"),
        ("Alder Bay Service", "Brindle Repair"),
        ("K10001", "K10010"),
    ],
)
def test_other_names_stay_apart(first, second):
    """Two that differ in a digit are never one, and short codes are not guessed at."""
    assert [one.means for one in put_together([first, second])] == [first, second]


def test_likeness_is_to_the_name_that_was_found_not_to_its_code():
    """A code may be like nothing that is written for it."""
    names = {"Alder Bay Service": "A-7"}
    found = put_together(["Alder Bay Service Inc", "Alder Bya Service"], ["A-7"], names)
    assert [(one.means, one.reason) for one in found] == [("A-7", FORM), ("A-7", SLIP)]
    assert found[0].likeness == 1
    assert 0.8 < found[1].likeness < 1


def test_a_code_of_the_reference_file_leads():
    """However often another spelling stands there; a name leads to its code."""
    found = put_together(
        ["alder-bay", "Alder Bay Service Inc", "ALDERBAY"],
        codes=["ALDERBAY"],
        names={"Alder Bay Service": "ALDERBAY"},
    )
    assert [one.means for one in found] == ["ALDERBAY"] * 3
    assert [one.reason for one in found] == [CASE, FORM, ""]
    named = put_together(["alder bay  service"], ["AB"], {"Alder Bay Service": "AB"})
    assert [(one.means, one.reason) for one in named] == [("AB", NAME)]


def test_of_two_that_are_as_near_none_is_taken():
    """Nobody can tell which one is meant."""
    found = put_together(["Marlow", "Barlow", "Harlow"], codes=["Marlow", "Barlow"])
    assert found[2].means == "Harlow"


@given(st.lists(st.text(alphabet="aAbB12 -.&é", max_size=12), unique=True, max_size=12))
def test_nothing_that_differs_in_a_digit_is_put_together(texts):
    """Every text is there once, in its order, under one of the same digits that leads itself."""
    found = put_together(texts)
    assert [one.written for one in found] == texts
    leaders = {one.written for one in found if one.means == one.written}
    for one in found:
        assert one.means in leaders
        assert digits(one.written) == digits(one.means)


def rows(**columns) -> pl.DataFrame:
    """Rows of a feed with their lines."""
    frame = pl.DataFrame(columns)
    return frame.with_row_index("source_line", offset=2).with_columns(
        pl.col("source_line").cast(pl.Int64)
    )


def test_a_draft_has_a_line_a_code_and_an_alias_for_each_other_spelling():
    """Rows, feeds and days are those of all spellings together."""
    days = [dt.date(2025, 1, day) for day in (1, 2, 3, 4)]
    calls = rows(agency=["Alder Bay", "ALDER BAY", "Alder Bay", None], opened_on=days)
    reports = rows(
        agency=["AB", "Alder Bay Inc"],
        requested_on=[dt.date(2024, 5, 1), None],
        completed_on=[None, dt.date(2025, 6, 1)],
    )
    used = added_up([used_codes("service_calls", calls), used_codes("startups", reports, 1)])
    lines, aliases = code_lines(used, {"agency": KnownCodes(codes=("AB",))})
    told = {line.code: line for line in lines}
    assert set(told) == {"AB", "Alder Bay"}
    assert told["Alder Bay"].spellings == ["Alder Bay", "ALDER BAY", "Alder Bay Inc"]
    assert (told["Alder Bay"].rows, told["Alder Bay"].known) == (4, False)
    line = told["Alder Bay"].line
    assert (line["feeds"], line["known"]) == ("startups service_calls", "no")
    assert (line["first_seen"], line["last_seen"]) == ("2025-01-01", "2025-06-01")
    assert [(a["written"], a["means"], a["rows"]) for a in aliases] == [
        ("ALDER BAY", "Alder Bay", 1),
        ("Alder Bay Inc", "Alder Bay", 1),
    ]
    assert told["AB"].known


def test_an_alias_that_is_there_is_no_proposal():
    """It counts under what it means, which is known."""
    calls = rows(agency=["ab  service"], opened_on=[dt.date(2025, 1, 1)])
    known = {"agency": KnownCodes(codes=("AB",), aliases={"AB Service": "AB"})}
    lines, aliases = code_lines(added_up([used_codes("service_calls", calls)]), known)
    assert [(line.code, line.known, line.rows) for line in lines] == [("AB", True, 1)]
    assert aliases == []


def test_spellings_that_are_aliases_stand_among_the_others_by_their_rows():
    """The most frequent first, as are the codes; an alias is no reason to lead."""
    names = ["Zeta", "AB", "AB", "AB Service", "Zeta", "Zeta", "Old"]
    days = [dt.date(2025, 1, 1)] * len(names)
    known = {"agency": KnownCodes(codes=("AB",), aliases={"ab service": "AB", "old": "AC"})}
    calls = rows(agency=names, opened_on=days)
    lines, _ = code_lines(added_up([used_codes("service_calls", calls)]), known)
    assert [(line.code, line.spellings) for line in lines] == [
        ("Zeta", ["Zeta"]),
        ("AB", ["AB", "AB Service"]),
        ("AC", ["Old"]),
    ]


def test_a_unit_of_a_site_counts_once_however_often_its_register_comes():
    """In two deliveries, under two spellings of the site; a row without a serial is no unit."""
    day = dt.date(2025, 1, 1)

    def register(*rows: tuple[int, str | None, str], place: int) -> pl.DataFrame:
        frame = pl.DataFrame(
            [(*row, day) for row in rows],
            schema=["source_line", "serial", "site", "shipped_on"],
            orient="row",
        )
        return used_codes("units", frame, place)

    used = added_up(
        [
            register((2, "A1", "K1"), (3, "A2", "K1"), (4, "B1", "K2"), place=0),
            register((2, "A1", "K1"), (3, "A2", "K-1"), (4, None, "K2"), place=1),
        ]
    )
    lines, _ = code_lines(used, {})
    assert {one.code: (one.line["units"], one.rows) for one in lines} == {
        "K1": ("2", 4),
        "K2": ("1", 2),
    }
