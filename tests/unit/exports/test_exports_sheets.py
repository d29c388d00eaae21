"""Workbooks: the first sheet as rows of text, with the types that the sheet itself knows."""

from __future__ import annotations

import datetime as dt
import zipfile

import pytest
import xlsxwriter

from pipelines.exports import read_sheet
from pipelines.exports.reading import Reading

FORMATS = {"day": "dd.mm.yyyy", "moment": "m/d/yy h:mm", "time": "hh:mm", "money": "#,##0.00"}


class Formula(str):
    """A formula's stored result, such as an error value."""


@pytest.fixture
def read(tmp_path):
    """Writes cells {(row, column): value or (value, format)} into a first sheet and reads it."""

    def call(cells: dict, **options) -> Reading:
        path = tmp_path / "units.xlsx"
        book = xlsxwriter.Workbook(path)
        sheet = book.add_worksheet("May")
        book.add_worksheet("Other").write(0, 0, "not read")
        formats = {name: book.add_format({"num_format": form}) for name, form in FORMATS.items()}
        for (row, column), value in cells.items():
            value, form = value if isinstance(value, tuple) else (value, None)
            if isinstance(value, Formula):
                sheet.write_formula(row, column, "=1+1", None, str(value))
            elif isinstance(value, str):
                sheet.write_string(row, column, value)
            else:
                sheet.write(row, column, value, formats.get(form))
        book.close()
        return read_sheet(path, **options)

    return call


def table(*rows: tuple, top: int = 0) -> dict:
    """Cells of rows that stand one below the other."""
    return {
        (top + row, column): value
        for row, values in enumerate(rows)
        for column, value in enumerate(values)
        if value is not None
    }


@pytest.mark.parametrize(
    ("cell", "text", "kind"),
    [
        ((dt.date(2026, 3, 31), "day"), "2026-03-31", "day"),
        ((dt.datetime(2026, 3, 31, 14, 5, 6), "moment"), "2026-03-31T14:05:06", "moment"),
        ((dt.time(3, 4), "time"), "03:04:00", "time"),
        (12, "12", "number"),
        ((1234567.5, "money"), "1234567.5", "number"),
        (0.1 + 0.2, "0.3", "number"),
        (1 / 3, "0.333333333333333", "number"),
        (1e-7, "0.0000001", "number"),
        (-1.25e-10, "-0.000000000125", "number"),
        (1e21, "1000000000000000000000", "number"),
        (-3, "-3", "number"),
        (True, "true", "flag"),
        (False, "false", "flag"),
        ("12", "12", None),
        ("007", "007", None),
        ("true", "true", None),
        ("1,234", "1,234", None),
        ("03/04/2026", "03/04/2026", None),
        ("2026-03-31", "2026-03-31", None),
        (" two\nlines ", "two\nlines", None),
        ("😀 מטבח", "😀 מטבח", None),
        ('say "hot", now', 'say "hot", now', None),
    ],
)
def test_cell_as_text_with_its_type(read, cell, text, kind):
    """A typed cell becomes plain text that needs no guess; text stays as it came."""
    reading = read(table(("serial", "value"), ("SK1", cell)))
    assert reading.rows["c1"].to_list() == [text]
    assert reading.typed["c1"].to_list() == [kind]
    assert reading.typed["line"].to_list() == [2]


def test_line_is_the_row_number_of_the_sheet(read):
    """Empty rows above and between are no rows, and still count."""
    reading = read(table(("serial", "site"), ("SK1", "K1"), (), ("SK2", None), top=3))
    assert (reading.header, reading.header_line, reading.encoding) == (
        ["serial", "site"],
        4,
        "xlsx",
    )
    assert reading.rows.rows() == [(5, "SK1\tK1", "SK1", "K1"), (7, "SK2", "SK2", "")]
    assert reading.rows_read == 2
    assert reading.fault is None


def test_header_ends_with_its_last_name(read):
    """A nameless column inside the header stays; one behind it is none."""
    reading = read(table(("serial", None, "site", " "), ("SK1", "x", "K1")))
    assert reading.header == ["serial", "", "site"]
    assert reading.rows.row(0)[2:] == ("SK1", "x", "K1")


def test_cell_beyond_the_header_sets_the_row_aside(read):
    """A value without a column is not dropped in silence."""
    reading = read(table(("serial", "site"), ("SK1", "K1", None, "stray"), ("SK2", "K2")))
    assert reading.faults.drop("reason").rows() == [
        (2, None, "SK1\tK1\t\tstray", "too_many_fields")
    ]
    assert "a cell beyond the header's 2 columns" in reading.faults["reason"][0]
    assert (reading.rows["line"].to_list(), reading.rows_read) == ([3], 2)


@pytest.mark.parametrize("error", ["#DIV/0!", "#N/A", "#NAME?", "#NUM!", "#REF!", "#VALUE!"])
def test_error_value_sets_the_row_aside(read, error):
    """An error value is no empty cell, also where it stands alone in its row."""
    reading = read(table(("serial", "site"), ("SK1", Formula(error)), (Formula(error),), ("SK2",)))
    assert reading.faults.drop("reason").rows() == [
        (2, 1, error, "cell_error"),
        (3, 0, error, "cell_error"),
    ]
    assert f"The sheet holds the error {error} here" in reading.faults["reason"][0]
    assert (reading.rows["line"].to_list(), reading.rows_read) == ([4], 3)


def test_error_value_in_the_header_sets_the_file_aside(read):
    """A name that is an error value cannot be matched, and the rows are counted."""
    reading = read(table(("serial", Formula("#REF!")), ("SK1", "x")))
    assert (reading.fault.rule, reading.fault.line) == ("header_error", 1)
    assert "The header in row 1 holds an error value" in reading.fault.sentence
    assert reading.rows_read == 1


def test_long_cell_is_set_aside(read):
    """The limit on characters holds for sheets too."""
    reading = read(table(("serial",), ("12345",), ("1234",)), max_field_chars=4)
    assert reading.faults.drop("reason").rows() == [(2, 0, "12345", "field_too_long")]
    assert "Field 1 has 5 characters, more than the 4" in reading.faults["reason"][0]


def test_header_alone_is_fine(read):
    """A sheet with a header and no rows is no fault."""
    reading = read(table(("serial", "site")))
    assert (reading.fault, reading.rows_read, reading.rows.height) == (None, 0, 0)


def test_empty_sheet(read):
    """A sheet without a header is set aside whole."""
    reading = read({})
    assert (reading.fault.rule, reading.rows_read) == ("empty_file", 0)
    assert "The first sheet is empty" in reading.fault.sentence


def test_large_workbook_is_set_aside_unread(read):
    """What a workbook unpacks to counts, so a small file cannot fill the memory."""
    reading = read(table(("serial",), *(("x" * 1000,) for _ in range(100))), max_file_bytes=20_000)
    assert reading.fault.rule == "file_too_large"
    assert "The workbook unpacks to" in reading.fault.sentence
    assert "more than the 20,000 that max_file_mb" in reading.fault.sentence


@pytest.mark.parametrize("content", [b"", b"serial,site\n", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"])
def test_file_that_is_no_workbook(tmp_path, content):
    """A renamed CSV file, an empty file and a locked workbook are set aside whole."""
    path = tmp_path / "units.xlsx"
    path.write_bytes(content)
    reading = read_sheet(path)
    assert reading.fault.rule == "no_workbook"
    assert "no Excel workbook that can be read (damaged, or locked by a password)" in (
        reading.fault.sentence
    )


def test_archive_that_is_no_workbook(tmp_path):
    """Another archive with the ending of a workbook is set aside whole."""
    path = tmp_path / "units.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("units.csv", "serial\n")
    assert read_sheet(path).fault.rule == "no_workbook"


def test_missing_workbook(tmp_path):
    """A workbook that cannot be opened is set aside and nothing is raised."""
    reading = read_sheet(tmp_path / "gone.xlsx")
    assert reading.fault.rule == "unreadable"
    assert "The file cannot be read (No such file or directory)" in reading.fault.sentence
