"""What people read of a file that is not sound, and what its name tells: small pure functions."""

from __future__ import annotations

import datetime as dt
import io
import zipfile

import pytest

from pipelines.exports import reading
from pipelines.exports.delivery import day_in_name, feed_of_path
from pipelines.exports.farthest_cell import cell_name, farthest_cell
from pipelines.exports.header_rows import HeaderSought, choose_header

FEEDS = ("units", "service_calls", "water_tests")


@pytest.mark.parametrize(
    ("fields", "cut_off", "rule", "words"),
    [
        (1, False, "too_few_fields", "The row has 1 field where the header has 3"),
        (2, False, "too_few_fields", "The row has 2 fields where the header has 3"),
        (0, False, "too_few_fields", "The row has 0 fields where"),
        (4, False, "too_many_fields", "The row has 4 fields where the header has 3"),
        (4, True, "too_many_fields", "The row has 4 fields"),
        (1, True, "cut_off_line", "The last line has 1 field where the header has 3"),
    ],
)
def test_a_row_of_another_length_is_told_with_its_number(fields, cut_off, rule, words):
    """One field, or several; a row that is cut off is one that has too few."""
    found, sentence = reading.count_reason(fields, 3, cut_off)
    assert found == rule
    assert sentence.startswith(words)


@pytest.mark.parametrize(
    ("sentence", "words"),
    [
        (reading.text_after_quote_reason(0), "closing quote of field 1;"),
        (reading.unclosed_quote_reason(1), "opens field 2 is"),
        (reading.cut_off_quote_reason(2), "quotes of field 3:"),
        (reading.nul_reason(3), "Field 4 holds a NUL byte"),
        (reading.undecodable_reason(4, "cp1252"), "Field 5 holds bytes that Windows-1252 does"),
        (reading.undecodable_reason(0, "utf-16-be"), "Field 1 holds bytes that UTF-16 does"),
        (reading.undecodable_reason(0, "utf-8-sig"), "Field 1 holds bytes that UTF-8 does"),
        (reading.too_long_reason(5, 70, 60), "Field 6 has 70 characters, more than the 60"),
    ],
)
def test_fields_are_counted_from_one(sentence, words):
    """As a person counts them."""
    assert words in sentence


@pytest.mark.parametrize(
    ("name", "day"),
    [
        ("calls_1Jan2025.csv", dt.date(2025, 1, 1)),
        ("calls_31DEC2024.csv", dt.date(2024, 12, 31)),
        ("calls_30June2025.csv", dt.date(2025, 6, 30)),
        ("calls_31Feb2025.csv", None),
    ],
)
def test_a_month_may_be_written_by_its_name(name, day):
    """By its first three letters, in any case; a day that no calendar has is none."""
    pattern = "(?P<day>[0-9]+)(?P<month_name>[A-Za-z]+)(?P<year>[0-9]{4})"
    assert day_in_name(name, pattern) == day


@pytest.mark.parametrize(
    ("short", "year"), [("68", 2068), ("69", 1969), ("99", 1999), ("00", 2000)]
)
def test_short_years_turn_at_69(short, year):
    """As POSIX has it for %y: 69 to 99 are of the last century (IEEE Std 1003.1, strptime)."""
    pattern = "(?P<day>[0-9]{2})(?P<month>[0-9]{2})(?P<short_year>[0-9]{2})"
    assert day_in_name(f"x0203{short}.csv", pattern) == dt.date(year, 3, 2)


@pytest.mark.parametrize(
    ("path", "feed"),
    [
        ("Units/a.csv", "units"),
        ("UNITS/units.csv", "units"),
        ("unit/a.csv", None),
        ("Water_Tests_May.csv", "water_tests"),
        ("water.csv", None),
    ],
)
def test_the_feed_of_a_file_is_told_by_folder_or_name(path, feed):
    """In any case of letters; a folder has the feed's whole name, a file begins with it."""
    assert feed_of_path(path, FEEDS) == feed


@pytest.mark.parametrize(
    ("row", "column", "name"),
    [(1, 1, "A1"), (9, 26, "Z9"), (1, 27, "AA1"), (2, 52, "AZ2"), (3, 702, "ZZ3"), (4, 703, "AAA4"),
     (1048576, 16384, "XFD1048576")],
)  # fmt: skip
def test_cells_are_named_as_sheets_name_them(row, column, name):
    """A to Z, AA to ZZ, and so on; the last cell is XFD1048576 (ECMA-376, 18.3.1.4)."""
    assert cell_name(row, column) == name


def test_the_farthest_cell_is_that_of_the_last_row_and_of_the_widest():
    """A cell without a place stands behind the one before; an empty one is none."""
    rows = (
        '<row r="2"><c r="AB2"><v>1</v></c><c><is/></c><c r="ZZ2"/></row>'
        '<row><c><v>2</v></c></row><row r="9"><c r="A9"/></row>'
    )
    sheet = f"<worksheet><sheetData>{rows}</sheetData></worksheet>"
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as made:
        made.writestr("s.xml", sheet)
    with zipfile.ZipFile(packed) as made:
        assert farthest_cell(made, "s.xml") == (3, 29)


def test_the_header_is_the_row_that_holds_most_of_what_is_needed():
    """The first of equals, and the first one where none holds anything."""
    sought = HeaderSought(needed=(("serial",), ("model", "type"), ("site",)))
    title, poor, rich = (1, ["Report"]), (3, ["Serial"]), (5, ["Site", "Serial", "Type"])
    assert choose_header([title, poor, rich, (6, ["Serial", "Model", "Site"])], sought) == 5
    assert choose_header([title, (2, ["May"])], sought) == 1


def test_a_number_sign_in_a_header_is_its_own_or_tells_equal_ones_apart():
    """`Order #2` is a header where one is called so, and the second `Order` where none is."""
    sought = HeaderSought(needed=(("Order #2",), ("Serial",)))
    for header, held in (
        (["Order #2", "Serial"], 2),
        (["Order", "order", "Serial"], 2),
        (["Order", "Serial"], 1),
        (["Order #1", "Serial"], 1),
    ):
        assert sought.held(header) == held
