"""Why a value of one feed finds nothing in another, in the order in which causes are looked for."""

from __future__ import annotations

import polars as pl
import pytest

from pipelines.records import spellings
from pipelines.records.joins import JOINS, NAMING_ROWS, Bar, join_report, naming_rows
from pipelines.records.spellings import likely

BAR = Bar(0.9, 20, {})


def cause(written: str, *known: str, serial: bool = False) -> tuple[str | None, str | None]:
    """Cause and likely value of one text."""
    found = likely(pl.Series([written]), pl.Series(list(known)), digits_count=serial)
    assert found.height <= 1
    return found.row(0)[1:] if found.height else (None, None)


@pytest.mark.parametrize(
    ("written", "known", "told"),
    [
        ("12", ["0012", "13"], ("lost_zeros", "0012")),
        ("0012", ["12"], ("lost_zeros", "12")),
        ("12", ["012", "0012"], ("lost_zeros", None)),
        ("012", ["12", "O12"], ("lost_zeros", "12")),
        ("north-hall", ["NORTH HALL"], ("case_or_punctuation", "NORTH HALL")),
        ("Küche Öst", ["kuche ost"], ("case_or_punctuation", "kuche ost")),
        ("a.b", ["AB", "A-B"], ("case_or_punctuation", None)),
        ("--", ["++"], (None, None)),
        ("OAKS", ["OAK"], ("close_spelling", "OAK")),
        ("OK", ["OAK"], ("close_spelling", "OAK")),
        ("OEK", ["OAK"], ("close_spelling", "OAK")),
        ("AOK", ["OAK"], ("close_spelling", "OAK")),
        ("AKO", ["OAK"], (None, None)),
        ("OAKS", ["OAK", "OAKT"], ("close_spelling", None)),
        ("elmwood", ["elmxooz"], (None, None)),
        ("elmwoods", ["elmxoozs"], (None, None)),
        ("elmwoodsy", ["elmxoozsy"], ("close_spelling", "elmxoozsy")),
        ("elmwoodsyy", ["elmxoozszy"], (None, None)),
        ("elmwoodschoolhal", ["elxwoodxchoolxal"], (None, None)),
        ("elmwoodschoolhall", ["elxwoodxchoolxall"], ("close_spelling", "elxwoodxchoolxall")),
        ("elmwoodschoolhall", ["elxwoodxchoolxalx"], (None, None)),
    ],
)
def test_the_first_cause_that_holds(written, known, told):
    """Zeros, then case and punctuation, then one edit, two from 9 characters, three from 17."""
    assert cause(written, *known) == told


@pytest.mark.parametrize(
    ("written", "known"), [("FR6", "FR7"), ("FR6", "FR61"), ("FR16", "FR61"), ("FR6", "FR")]
)
def test_a_changed_digit_counts_for_serials_alone(written, known):
    """Codes that differ in a digit are other codes."""
    assert cause(written, known) == (None, None)
    assert cause(written, known, serial=True) == ("close_spelling", known)


def test_comparisons_are_bounded(monkeypatch):
    """Beyond the bound a value two edits off stays unknown; one edit is found all the same."""
    assert cause("elmwoodsy", "elmxoozsy")[0] == "close_spelling"
    monkeypatch.setattr(spellings, "MOST_PAIRS", 0)
    assert cause("elmwoodsy", "elmxoozsy") == (None, None)
    assert cause("elmwoodsy", "elmwoodsx") == ("close_spelling", "elmwoodsx")


def rows(*written: str | None) -> pl.DataFrame:
    """Rows in one file, a line each."""
    lines = [(text, "f.csv", line) for line, text in enumerate(written, 2)]
    return pl.DataFrame(lines, schema=NAMING_ROWS, orient="row")


def report(named: dict[str, pl.DataFrame], known: dict[str, list[str]], bar: Bar = BAR):
    """The two tables where joins without rows and values are empty."""
    return join_report(
        lambda join: named.get(join.name, rows()),
        lambda join: pl.Series(known.get(join.to, []), dtype=pl.String),
        bar,
    )


def test_every_join_has_a_line_and_its_causes_add_up():
    """Rows are matched or stand under one cause; a join without rows has no share."""
    named = {"startups.serial": rows("1", "1", "02", "A-B", "QQQ", "0007", "ABD")}
    joins, misses = report(named, {"units.serial": ["02", "0001", "AB", "XYZ", "7"]})
    assert joins.height == len(JOINS) == 16
    line = joins.filter(feed="startups", column="serial").row(0, named=True)
    assert line == {
        "feed": "startups",
        "column": "serial",
        "to": "units.serial",
        "rows": 7,
        "matched": 1,
        "share": 1 / 7,
        "lost_zeros": 3,
        "case_or_punctuation": 1,
        "close_spelling": 1,
        "unknown": 1,
        "min_share": 0.9,
        "below": False,
    }
    assert misses.select("written", "cause", "likely", "rows", "first_line").rows() == [
        ("1", "lost_zeros", "0001", 2, 2),
        ("0007", "lost_zeros", "7", 1, 7),
        ("A-B", "case_or_punctuation", "AB", 1, 5),
        ("ABD", "close_spelling", "AB", 1, 8),
        ("QQQ", "unknown", None, 1, 6),
    ]
    others = joins.filter(pl.col("to") != "units.serial")
    assert others["share"].null_count() == others.height == 12
    assert not others["below"].any()


@pytest.mark.parametrize(
    ("matched", "missed", "bar", "below"),
    [
        (18, 2, BAR, False),
        (17, 3, BAR, True),
        (16, 3, BAR, False),
        (17, 3, Bar(0.9, 20, {"startups.agency": 0.85}), False),
        (0, 20, Bar(0.9, 20, {"startups.agency": 0.0}), False),
        (16, 3, Bar(0.9, 19, {}), True),
        (20, 0, Bar(1.0, 20, {}), False),
    ],
)
def test_a_join_is_below_its_share_from_so_many_rows_on(matched, missed, bar, below):
    """The share itself is enough, and so many rows are; a share of 0 is never judged."""
    named = {"startups.agency": rows(*["N"] * matched, *["ZZZZ"] * missed)}
    joins, _ = report(named, {"agencies.agency": ["N"]}, bar)
    assert joins.filter("below").height == int(below)


def test_rows_set_aside_for_nothing_but_the_code_count():
    """A row with another reason besides is no row of the join; nor is one of another rule."""
    (join,) = [one for one in JOINS if one.name == "units.model"]
    records = pl.DataFrame({"model": ["M", None], "source_file": ["a", "a"], "source_line": [2, 3]})
    reasons = pl.DataFrame(
        [
            ("a", None, 4, "X", "unknown_model"),
            ("a", None, 5, "Y", "unknown_model"),
            ("a", None, 5, "no", "date"),
            ("b", "s", 5, "Z", "unknown_model"),
            ("b", "s", 6, "", "required"),
        ],
        schema=["file", "sheet", "line", "value", "rule"],
        orient="row",
    )
    found = naming_rows(join, records, reasons)
    assert found["written"].to_list() == ["M", "X", "Z"]
