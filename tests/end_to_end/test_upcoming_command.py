"""`upcoming` lists who is about to lose cover, with the sentence to send, in three forms."""

import datetime as dt
import io

import polars as pl
import pytest

from pipelines.cli.console.output import print_csv
from schemas.codes import MATTERS

AS_OF = dt.date(2026, 9, 30)


@pytest.fixture(scope="module")
def due(sample, run):
    """What falls due within 30 days of the sample's as-of date, and what is overdue."""
    call = run("upcoming", sample[0], "--within", "30", "--json")
    assert call.code == 0
    return pl.DataFrame(call.json, infer_schema_length=None)


def test_days_left_are_counted_from_the_as_of_date(due):
    """To the thirtieth day, none beyond; all matters of the sample come up."""
    days = due.select(left=pl.col("due_on").str.to_date() - AS_OF)["left"].dt.total_days()
    assert days.to_list() == due["days_left"].to_list()
    assert due["days_left"].max() <= 30
    assert set(due["matter"].unique()) == set(MATTERS)


def test_each_has_a_sentence_with_its_unit_and_stake(due):
    """The sentence can be sent as it stands."""
    named = due.select(
        pl.col("sentence").str.contains(pl.col("serial"), literal=True),
        ends=pl.col("sentence").str.ends_with("."),
        stake=pl.col("at_stake").str.len_chars() > 10,
    )
    assert named.select(pl.all_horizontal(pl.all()).all()).item()


def test_csv_holds_the_same_rows_and_text_puts_what_can_be_kept_first(sample, run, due):
    """Three forms, one table."""
    csv = run("upcoming", sample[0], "--within", "30", "--csv")
    assert pl.read_csv(io.StringIO(csv.out), infer_schema=False).height == due.height
    text = run("upcoming", sample[0], "--within", "30").out
    ahead = due.filter(pl.col("days_left") >= 0)
    assert text.startswith(f"Ahead: {ahead.height}\n{ahead['due_on'][0]}")
    assert f"Overdue: {due.height - ahead.height:,}\n" in text
    assert all(sentence in text for sentence in ahead["sentence"])


def test_a_number_of_days_below_zero_is_a_wrong_call(sample, run):
    """With what to do instead."""
    call = run("upcoming", sample[0], "--within=-1")
    assert (call.code, call.out) == (2, "")
    assert "--within -1 is below 0" in call.err


def test_csv_holds_no_cell_that_a_spreadsheet_would_run(capsys):
    """Texts are quoted by an apostrophe, numbers below zero stay numbers, lists are joined."""
    lists = [["a", "b"], ["c"], None]
    print_csv(pl.DataFrame({"site": ["=1+1", "Inn", None], "days": [-1, 2, 3], "n": lists}))
    assert capsys.readouterr().out == "site,days,n\n'=1+1,-1,a; b\nInn,2,c\n,3,\n"
