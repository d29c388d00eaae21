"""What a person wrote on a sheet: opinions, lines still empty, and faults with their place."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest

from pipelines.assist.second_opinions.opinions import read_answers, with_latest

PUT_DOWN = {
    "computed": "covered",
    "band": "lower third",
    "drawn_at": "2026-03-31T10:00:00",
    "seed": "7",
}
DRAWN = dict.fromkeys(("W1", "W2", "=W3"), PUT_DOWN)


def answers(*cells: tuple, by: str | None = "Ada", standing: dict | None = None):
    """What the lines (claim, verdict, checked_by, note) of sheet.csv give."""
    names = ("claim", "verdict", "checked_by", "note")
    lines = [(n + 2, dict(zip(names, row, strict=True))) for n, row in enumerate(cells)]
    return read_answers("sheet.csv", lines, DRAWN, standing or {}, by)


def test_an_opinion_carries_what_was_drawn() -> None:
    """Verdicts are read in any case, with spaces or dashes; the person of the line goes first."""
    told = answers(
        ("W1", "Not covered", "Ben", "no treatment"), ("W2", "NEEDS-evidence", None, None)
    )
    assert told.faults == []
    assert told.opinions == [
        {"claim": "W1", "checked_by": "Ben", "verdict": "not_covered", "note": "no treatment"}
        | PUT_DOWN,
        {"claim": "W2", "checked_by": "Ada", "verdict": "needs_evidence", "note": ""} | PUT_DOWN,
    ]


def test_lines_without_a_verdict_wait() -> None:
    """A claim that is not yet checked is no fault."""
    told = answers(("W1", None, None, None), ("W2", "covered", None, None), (None,) * 4)
    assert (told.empty, len(told.opinions), told.faults) == (1, 1, [])


def test_what_was_said_before_is_known_and_a_change_of_mind_is_kept() -> None:
    """The same verdict and note again are not recorded twice; another verdict is."""
    before = {("W1", "Ada"): ("covered", ""), ("W2", "Ada"): ("covered", "")}
    told = answers(
        ("W1", "covered", None, None), ("W2", "not_covered", None, None), standing=before
    )
    assert told.known == 1
    assert [row["claim"] for row in told.opinions] == ["W2"]


def test_a_neutralized_claim_is_the_claim() -> None:
    """A sheet writes `'=W3` for the claim `=W3`, so that no spreadsheet runs it."""
    assert answers(("'=W3", "covered", None, None)).opinions[0]["claim"] == "=W3"


@pytest.mark.parametrize(
    ("cells", "by", "expected"),
    [
        (
            ("W1", "coverd", None, None),
            "Ada",
            'sheet.csv line 2, column verdict: "coverd" is no verdict; did you mean covered?',
        ),
        (
            ("W9", "covered", None, None),
            "Ada",
            'sheet.csv line 2, column claim: "W9" was never drawn',
        ),
        (
            ("W1", "covered", None, None),
            None,
            "sheet.csv line 2, column checked_by: nobody is named",
        ),
        (
            (None, "covered", None, None),
            "Ada",
            "sheet.csv line 2, column claim: there is no claim beside the verdict",
        ),
    ],
)
def test_a_fault_names_file_line_column_and_the_way_out(cells, by, expected) -> None:
    """Each fault is one sentence with its place."""
    told = answers(cells, by=by)
    assert told.opinions == []
    assert len(told.faults) == 1
    assert told.faults[0].startswith(expected)


def test_a_claim_answered_twice_is_a_fault() -> None:
    """Of two lines of one claim, nobody knows which holds."""
    told = answers(("W1", "covered", None, None), ("W1", "not_covered", None, None))
    assert told.faults == [
        'sheet.csv line 3, column claim: "W1" stands in line 2 already; keep one line of it.'
    ]


def test_the_latest_opinion_of_a_claim_counts() -> None:
    """By its moment, then by the order of recording."""
    day = dt.datetime(2026, 3, 31, 10)
    rows = pl.DataFrame(
        {
            "claim": ["W1", "W1", "W1", "W2", "W2"],
            "checked_at": [day, day + dt.timedelta(1), day, day, day],
            "verdict": ["covered", "not_covered", "covered", "covered", "not_covered"],
            "computed": ["covered"] * 5,
        }
    )
    told = with_latest(rows)
    assert told["counts"].to_list() == [False, True, False, False, True]
    assert told["agrees"].to_list() == [True, False, True, True, False]
    assert with_latest(rows.clear()).is_empty()
