"""What is said of a join that matches too little: the greatest cause, and its way out."""

from __future__ import annotations

import polars as pl
import pytest

from pipelines.records.join_keys import LINE, OF_CELL, SOURCE, reasons
from pipelines.records.join_matches import _known
from pipelines.records.join_sentences import sentences_below
from pipelines.records.joins import JOINS, NAMING_ROWS, Bar, join_report
from schemas.codes import JOINED_COLUMNS

ACCOUNTS = pl.DataFrame(
    {
        "feed": ["startups", "startups", "units"],
        "file": ["f.csv", "g.csv", "f.csv"],
        "mapping": ["x.toml", None, "units.toml"],
    }
)


def told(column: str, written: list[tuple[str, str]], known: list[str]) -> list[str]:
    """The sentences where one column of the start-ups has these values, each with its file."""
    rows = pl.DataFrame([(w, f, 2) for w, f in written], schema=NAMING_ROWS, orient="row")
    joins, misses = join_report(
        lambda join: rows if join.name == f"startups.{column}" else NAMING_ROWS.to_frame(),
        lambda join: pl.Series(known if join.name == f"startups.{column}" else [], dtype=pl.String),
        Bar(0.9, 1, {}),
    )
    return sentences_below(joins, misses, ACCOUNTS)


def test_lost_zeros_are_put_back_by_the_mapping_of_the_file():
    """The step that makes most of them as long as the register's, cut to whole percents."""
    written = [("12", "f.csv")] * 2 + [("3", "f.csv"), ("0000099", "f.csv")]
    assert told("serial", written, ["0000012", "0000003", "0000099"]) == [
        "startups.serial: 1 of 4 rows match units.serial (25 %); 3 lost their leading zeros: "
        "{ pad = 7 } under [transforms] of mappings/x.toml"
    ]


def test_zeros_that_the_register_lost_are_taken_off():
    """Where the feed has the zeros, and no mapping read the file, the feed's own is named."""
    assert told("serial", [("0012", "g.csv")], ["12"]) == [
        "startups.serial: 0 of 1 rows match units.serial (0 %); 1 lost its leading zeros: "
        "{ strip_zeros = true } under [transforms] of mappings/startups.toml"
    ]


@pytest.mark.parametrize(
    ("column", "written", "known", "end"),
    [
        (
            "agency",
            "north hall",
            "NORTH-HALL",
            "differs in case or punctuation alone: say what they mean in reference/aliases.csv "
            "(kind, written, means)",
        ),
        (
            "treatment_product",
            "SOFTI",
            "SOFT",
            "is spelled nearly alike: say what they mean in reference/aliases.csv "
            "(kind, written, means)",
        ),
        (
            "serial",
            "AB1",
            "AB2",
            "is spelled nearly alike: correct them at the source; the table join_misses has what "
            "each may be",
        ),
        (
            "agency",
            "QQQQQ",
            "NORTH",
            "is like none there: add what is lacking to reference/agencies.csv, say in "
            "reference/aliases.csv what it means (`limeledger codes` drafts both), or correct "
            "where agency comes from in mappings/x.toml",
        ),
        (
            "serial",
            "QQQQQ",
            "AB2",
            "is like none there: add what is lacking to units, or correct where serial comes from "
            "in mappings/x.toml",
        ),
    ],
)
def test_each_cause_has_its_way_out(column, written, known, end):
    """Aliases for what has a kind, the source for numbers, the mapping for what is like none."""
    (sentence,) = told(column, [(written, "f.csv")], [known])
    assert sentence.partition("; ")[2] == f"1 {end}"


def test_a_join_that_matches_enough_is_not_told_of():
    """Nothing is said where all is well."""
    assert told("serial", [("1", "f.csv")], ["1"]) == []


def test_the_settings_know_every_join():
    """The names under [joins.shares] are those of the report."""
    assert tuple(join.name for join in JOINS) == JOINED_COLUMNS


def test_a_reason_quotes_the_cell_where_there_is_one():
    """An empty cell, or none, is not quoted."""
    cells = {SOURCE: [0, 0, 0], LINE: [2, 3, 4], "shown": ["A7", "", None]}
    rows = pl.DataFrame(cells, schema_overrides={SOURCE: pl.UInt32})
    said = reasons(rows, "joins_nothing", "joins nothing.", "Order")
    assert said["reason"].to_list() == [
        'Order "A7" joins nothing.',
        "Order joins nothing.",
        "Order joins nothing.",
    ]


def test_of_rows_that_differ_what_all_say_is_known():
    """One row a key: a cell in which its rows differ is not known, of a single row all are."""
    rows = [
        ("1", True, "1", True, "a", "same"),
        ("1", True, "1", False, "b", "same"),
        ("2", False, "2", True, "c", None),
    ]
    names = ["key", "several", "shown", "first", f"{OF_CELL}Claim", f"{OF_CELL}Notes"]
    known = _known(pl.DataFrame(rows, schema=names, orient="row")).sort("key")
    assert known.select(*names[-2:]).rows() == [(None, "same"), ("c", None)]
