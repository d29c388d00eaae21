"""Reasons gathered for a person: how many rows, what, and where first."""

import re
from pathlib import Path

import polars as pl
import pytest

from pipelines.records import problems as problems_module
from pipelines.records.problems import PROBLEMS, ends_in_words, problems, whole_files_in_words
from schemas.accounts import WHOLE_RULES, SetAside
from schemas.columns import polars_schema

NO_DATE = "is no date; no calendar has that day from the year 1900 to 2199, so correct it."


def frame(*rows):
    """Reasons as the set-aside table holds them."""
    placed = [(*row, None, None) for row in rows]
    return pl.DataFrame(placed, schema=polars_schema(SetAside), orient="row")


def date_row(line, value, file="sales_may.csv"):
    """A row with an impossible purchase date."""
    reason = f'purchased_on "{value}" {NO_DATE}'
    return ("units", file, line, "purchased_on", value, "impossible_date", reason)


def test_one_value_in_many_rows_is_one_sentence():
    """The count, the value as it stands, and the first place, in the order of file and line."""
    rows = [date_row(line, "31/02/2025") for line in range(499, 87, -1)]
    found = problems(frame(*rows))
    assert found["sentence"].to_list() == [
        '412 rows: purchased_on "31/02/2025" is no date; first at sales_may.csv line 88'
    ]
    assert found["rows"].to_list() == [412]
    assert found["remedy"].item().startswith("no calendar has that day")


def test_several_values_are_counted_beside_the_first():
    """The value is that of the first place."""
    found = problems(frame(date_row(9, "b"), date_row(8, "a"), date_row(10, "c")))
    assert found["sentence"].item() == (
        '3 rows: purchased_on "a" (and 2 other values) is no date; first at sales_may.csv line 8'
    )


def test_an_empty_value_has_no_quotes():
    """`serial is empty` needs none."""
    row = ("units", "u.csv", 3, "serial", None, "required", "serial is empty; fill it in.")
    assert (
        problems(frame(row))["sentence"].item() == "1 row: serial is empty; first at u.csv line 3"
    )
    dashes = ("units", "u.csv", 4, "serial", "---", "required", "serial is empty; fill it in.")
    assert problems(frame(row, dashes))["sentence"].item() == (
        "2 rows: serial is empty; first at u.csv line 3"
    )


def test_rules_of_reading_speak_for_themselves():
    """A ragged row has no column; the reader's sentence is told up to its remedy."""
    told = "The row has 2 fields where the header has 3; give every field its place."
    found = problems(frame(("units", "u.csv", 4, None, "A,B", "too_few_fields", told)))
    assert found["sentence"].item() == (
        "1 row: The row has 2 fields where the header has 3; first at u.csv line 4"
    )


def test_whole_files_come_first_then_the_most_frequent():
    """What costs most rows is corrected first."""
    whole = (None, "x.csv", 1, None, None, "no_feed", "x.csv is of no feed; rename it.")
    one = (
        "units",
        "u.csv",
        2,
        "model",
        "Q",
        "unknown_model",
        'model "Q" is not in models.csv; add.',
    )
    found = problems(frame(one, date_row(5, "a"), date_row(6, "a"), whole), ["x.csv"])
    assert found["rule"].to_list() == ["no_feed", "impossible_date", "unknown_model"]
    assert found["sentence"][0] == "x.csv is of no feed; rename it."


def test_a_whole_file_is_named_where_its_reason_does_not():
    """A person must know which file lacks a column."""
    lacks = (
        "units",
        "u.csv",
        3,
        "serial",
        None,
        "missing_column",
        "The file lacks serial; add it.",
    )
    found = problems(frame(lacks), ["u.csv"])
    assert found["sentence"].item() == "u.csv: The file lacks serial; add it."


def test_rows_of_a_workbook_of_which_a_sheet_is_set_aside_are_counted() -> None:
    """One sheet that nothing reads does not make whole files of the rows of the others."""
    sheet = (None, "b.xlsx", 1, None, None, "no_mapping", "The sheet X of b.xlsx is read by none.")
    rows = [date_row(line, "a", "b.xlsx") for line in (5, 6)]
    found = problems(frame(*rows, sheet), ["b.xlsx"])
    assert found["rule"].to_list() == ["no_mapping", "impossible_date"]
    assert found["rows"].to_list() == [0, 2]
    assert found["sentence"][1].endswith("; first at b.xlsx line 5")


def test_sentences_of_whole_files_say_why_and_tell_a_sheet_from_a_file() -> None:
    """Not the reason of a row that is set aside in the same workbook, which comes first."""
    reasons = [
        ("b.xlsx", "number", "a row's"),
        ("b.xlsx", "no_mapping", "The sheet X of b.xlsx is read by no mapping."),
        ("c.csv", "no_feed", "c.csv is of no feed."),
    ]
    aside = pl.DataFrame(reasons, schema=["file", "rule", "reason"], orient="row")
    assert whole_files_in_words(["b.xlsx", "c.csv", "d.csv"], aside) == {
        "b.xlsx": "A sheet of the file b.xlsx was set aside: The sheet X of b.xlsx is read by no "
        "mapping.",
        "c.csv": "The file c.csv was set aside: c.csv is of no feed.",
        "d.csv": "The file d.csv was set aside: it could not be read.",
    }


def test_nothing_set_aside_is_no_problem():
    """An empty table stays empty, with its columns."""
    assert problems(frame()).schema == PROBLEMS


@pytest.mark.parametrize(
    ("counts", "words"),
    [
        ((1, 0, 1, 2), "1 record, 0 superseded, 1 duplicate, 2 set aside"),
        ((1200, 3, 0, 0), "1,200 records, 3 superseded, 0 duplicates, 0 set aside"),
    ],
)
def test_ends_of_rows_are_told_in_the_singular_where_there_is_one(counts, words) -> None:
    """One record is no records, and a thousand have their comma."""
    names = ("records", "superseded", "duplicates", "set_aside")
    assert ends_in_words(dict(zip(names, counts, strict=True))) == words


def test_every_rule_of_whole_files_is_told_as_that():
    """Whatever the reader refuses a file for is a problem of its own, not of one row."""
    exports = Path(problems_module.__file__).parents[1] / "exports"
    sources = "".join(path.read_text("utf-8") for path in sorted(exports.glob("*.py")))
    rules = set(re.findall(r'(?:refuse|FileFault)\(\s*"(\w+)"', sources))
    assert {"packed_file", "empty_file", "too_many_cells"} <= rules
    assert rules <= set(WHOLE_RULES)
