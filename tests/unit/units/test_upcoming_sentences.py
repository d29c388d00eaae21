"""The sentence to send about what is coming up."""

import datetime as dt

import polars as pl
import pytest

from pipelines.units.upcoming_sentences import AHEAD, LATE, sentence_to_send
from schemas.codes import MATTERS


def said(matter, days_left, at_stake):
    """The sentence of one matter of unit U1, due on 5 April 2026."""
    row = {"serial": "U1", "matter": matter, "due_on": dt.date(2026, 4, 5), "days_left": days_left,
           "at_stake": at_stake}  # fmt: skip
    return pl.DataFrame([row]).select(sentence_to_send()).item()


def test_ahead_it_says_what_to_do_by_when_and_what_is_lost():
    """What is at stake ends at the first colon or semicolon; the rest is a sentence of its own."""
    stake = "cover of scale failures; deliming is for the owner: mind the acids"
    assert said("deliming due", 0, stake) == (
        "Have unit U1 delimed and the deliming reported by 5 April 2026, or cover of scale "
        "failures is lost. Deliming is for the owner: mind the acids."
    )


def test_overdue_it_asks_for_proof_and_blames_nobody():
    """A day that has passed may have been kept without a report."""
    assert said("start-up request due", -1, "the start-up bonus") == (
        "The start-up of unit U1 was to be asked for by 5 April 2026. If it was, send the report; "
        "until then the start-up bonus does not count."
    )


@pytest.mark.parametrize("matter", MATTERS)
@pytest.mark.parametrize("days_left", [1, -1])
def test_every_matter_has_a_sentence(matter, days_left):
    """Each names unit, day and what is at stake."""
    assert set(AHEAD) == set(LATE) == set(MATTERS)
    told = said(matter, days_left, "the cover")
    assert "U1" in told
    assert "5 April 2026" in told
    assert "the cover" in told
    assert told.endswith(".")
