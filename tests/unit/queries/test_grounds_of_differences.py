"""What is said to have changed between two decisions of one claim is what has."""

from __future__ import annotations

import datetime as dt

import pytest

from pipelines.queries.past_differences import COMPARED, Rested, differences

DAY = dt.date(2026, 1, 5)
CALL = {"row_sha256": "a", "file": "calls.csv", "line": 2, "arrived_on": DAY, "values": {}}


def rested(through: dt.date | None, **rows: dt.date) -> Rested:
    """A decision on the call, and on start-up reports that came on a day each."""
    publication = {
        "day": DAY,
        "as_of": DAY,
        "tool": "t",
        "tool_version": "1",
        "through_dates": [{"feed": "startups", "through_date": through}],
    }
    reports = {
        ("startups", key): CALL | {"file": "s.csv", "arrived_on": came}
        for key, came in rows.items()
    }
    files = {"terms": [], "reference": [], "settings": []}
    return Rested(publication, files, {("service_calls", "C"): CALL} | reports, {})


def because(then: Rested, now: Rested) -> str:
    """Why the verdict is another."""
    decision = dict.fromkeys(COMPARED)
    told = differences(
        {**decision, "verdict": "covered", "findings": []},
        then,
        {**decision, "verdict": "needs_evidence", "findings": []},
        now,
    )
    assert [one["what"] for one in told] == ["verdict"]
    return told[0]["because"]


@pytest.mark.parametrize(
    ("came", "sentence"),
    [
        (dt.date(2026, 1, 6), "startups S came on 2026-01-06 (s.csv, line 2)."),
        (DAY, "startups S counts now and did not then (s.csv, line 2; first read on 2026-01-05)."),
    ],
)
def test_a_row_that_was_known_before_did_not_come_since(came: dt.date, sentence: str) -> None:
    """It had left the exports when the decision was made, or was not seen as of that day."""
    assert because(rested(None), rested(None, S=came)) == sentence


@pytest.mark.parametrize(
    ("was", "now", "how"),
    [
        (None, DAY, "further: startups to 2026-01-05 (then no day)."),
        (dt.date(2026, 1, 4), DAY, "further: startups to 2026-01-05 (then 2026-01-04)."),
        (DAY, dt.date(2026, 1, 4), "to other days: startups to 2026-01-04 (then 2026-01-05)."),
        (DAY, None, "to other days: startups to no day (then 2026-01-05)."),
    ],
)
def test_exports_that_reach_less_far_are_not_further(
    was: dt.date | None, now: dt.date | None, how: str
) -> None:
    """A file that was taken away, or a look back, is told as what it is."""
    assert because(rested(was), rested(now)) == f"The exports are complete {how}"


def test_exports_of_which_one_reaches_less_far_are_not_further() -> None:
    """One feed that is complete to a later day makes no other so."""
    then, now = rested(dt.date(2026, 1, 4)), rested(DAY)
    for one, through in ((then, DAY), (now, dt.date(2026, 1, 4))):
        one.publication["through_dates"].append({"feed": "units", "through_date": through})
    told = because(then, now)
    assert told.startswith("The exports are complete to other days: startups to 2026-01-05")
    assert told.endswith("units to 2026-01-04 (then 2026-01-05).")


def test_a_row_that_says_something_else_is_told_by_its_cells() -> None:
    """The row whose digest is another one, the cells that differ, and no row that is as it was."""
    then, now = rested(None, A=DAY, S=DAY), rested(None, A=DAY, S=DAY)
    place = ("startups", "S")
    then.rows[place] |= {"values": {"by": "ann", "on": "2026-01-02"}}
    now.rows[place] |= {"values": {"by": "ann", "on": "2026-01-03"}, "row_sha256": "b"}
    assert because(then, now) == "startups S changed: on 2026-01-02 → 2026-01-03."
