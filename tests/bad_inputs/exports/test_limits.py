"""Files beyond a limit: each is set aside with a sentence, and nothing else suffers."""

from __future__ import annotations

import os
import signal
import zipfile

import pytest
import xlsxwriter

from pipelines.exports import read_rows
from pipelines.exports import workbook_process as process
from pipelines.exports.farthest_cell import cell_name, farthest_cell, sheet_parts
from pipelines.exports.limits import Limits
from pipelines.exports.sheets import read_workbook, sheet_reading


@pytest.fixture
def book(tmp_path):
    """Writes sheets {name: {(row, column): value}} into a workbook; gives its path."""

    def write(sheets: dict):
        path = tmp_path / "book.xlsx"
        with xlsxwriter.Workbook(path) as made:
            for name, cells in sheets.items():
                sheet = made.add_worksheet(name)
                for (row, column), value in cells.items():
                    sheet.write(row, column, value)
        return path

    return write


SMALL = {(0, 0): "serial", (1, 0): "SK1"}


@pytest.mark.parametrize(
    ("row", "column", "name"),
    [(1, 1, "A1"), (1, 26, "Z1"), (2, 27, "AA2"), (9, 702, "ZZ9"), (1048576, 16384, "XFD1048576")],
)
def test_cell_names_are_those_of_spreadsheets(row, column, name):
    """The first and last names of one, two and three letters (ECMA-376: XFD1048576 is the last)."""
    assert cell_name(row, column) == name


def test_a_stray_cell_in_the_last_place_sets_its_sheet_aside_and_no_other(book):
    """The farthest cell of a sheet makes its rectangle; here it would be 17 thousand million."""
    path = book({"Stray": SMALL | {(1048575, 16383): "x"}, "Sound": SMALL})
    stray, sound = read_workbook(path, Limits())
    assert (stray.name, stray.fault.rule, stray.cells) == ("Stray", "too_many_cells", None)
    assert "reaches to XFD1048576, that is 17,179,869,184 cells" in stray.fault.sentence
    assert "max_cells" in stray.fault.sentence
    assert sheet_reading(sound, Limits()).rows["c0"].to_list() == ["SK1"]


def test_cells_are_counted_by_the_last_row_and_the_last_column(book):
    """At the limit a sheet is read, one column more is too many; two cells make the corner."""
    path = book({"May": SMALL | {(9, 0): "a", (0, 4): "b"}})
    assert read_workbook(path, Limits(max_cells=50))[0].fault is None
    fault = read_workbook(path, Limits(max_cells=49))[0].fault
    assert (fault.rule, "reaches to E10, that is 50 cells" in fault.sentence) == (
        "too_many_cells",
        True,
    )


def test_formatted_cells_without_a_value_count_for_nothing(tmp_path):
    """A sheet that is formatted to its end holds no more than what is written."""
    path = tmp_path / "book.xlsx"
    with xlsxwriter.Workbook(path) as made:
        sheet = made.add_worksheet("May")
        sheet.write(0, 0, "serial")
        sheet.write_blank(1048575, 16383, None, made.add_format({"bold": True}))
    with zipfile.ZipFile(path) as packed:
        assert farthest_cell(packed, sheet_parts(packed)["May"]) == (1, 1)
    assert read_workbook(path)[0].fault is None


def test_more_memory_than_allowed_ends_the_child_alone(book):
    """The memory is bounded in the process that reads the workbook, and it says so."""
    wide = {(row, column): f"{row} {column}" for row in range(3000) for column in range(60)}
    path = book({"Wide": wide})
    fault = read_workbook(path, Limits(max_workbook_bytes=180 << 20))[0].fault
    assert fault.rule == "workbook_memory"
    assert "180 MB of memory that max_workbook_mb" in fault.sentence
    assert read_workbook(path, Limits())[0].fault is None


def test_more_time_than_allowed_ends_the_child(book):
    """A sheet that takes too long is given up."""
    fault = read_workbook(book({"May": SMALL}), Limits(max_workbook_seconds=0))[0].fault
    assert fault.rule == "workbook_time"
    assert "longer than the 0 seconds that max_workbook_seconds" in fault.sentence


def test_a_killed_child_sets_one_sheet_aside_and_the_next_is_read(book, monkeypatch):
    """The children that read the first sheet are killed; another one goes on with the second."""
    path = book({"One": SMALL, "Two": SMALL})
    told = process._sheet

    def kill_at_first(names, index, head, connection, deadline, limits):
        if index == 0:
            os.kill(int(os.environ["CHILD"]), signal.SIGKILL)
            raise EOFError
        return told(names, index, head, connection, deadline, limits)

    start = process.subprocess.Popen

    def remembered(*arguments, **options):
        child = start(*arguments, **options)
        os.environ["CHILD"] = str(child.pid)
        return child

    monkeypatch.setenv("CHILD", "")
    monkeypatch.setattr(process, "_sheet", kill_at_first)
    monkeypatch.setattr(process.subprocess, "Popen", remembered)
    one, two = read_workbook(path, Limits())
    assert (one.name, one.fault.rule) == ("One", "workbook_failed")
    assert "SIGKILL" in one.fault.sentence
    assert (two.name, two.fault) == ("Two", None)


def test_a_header_of_a_million_columns_is_counted_and_no_more(tmp_path):
    """Columns are counted before the rows are looked at; the rows are told, not read."""
    path = tmp_path / "wide.csv"
    path.write_bytes(b"," * 999_999 + b"\n" + (b"," * 999_999 + b"\n") * 3)
    reading = read_rows(path, max_columns=2000)
    assert (reading.fault.rule, reading.rows_read, reading.header) == ("too_many_columns", 3, [])
    assert "has 1,000,000 columns, more than the 2,000 that max_columns" in reading.fault.sentence


@pytest.mark.parametrize("text", ["a,b,c\n1,2,3\n", '"a,a",b,c\n1,2,3\n', 'x;y;"a;,,,;b"\n1;2;3\n'])
def test_as_many_columns_as_allowed_are_read(tmp_path, text):
    """At the limit a header is read, also where delimiters stand inside its quotes."""
    path = tmp_path / "export.csv"
    path.write_text(text)
    assert read_rows(path, max_columns=3).fault is None
    assert read_rows(path, max_columns=2).fault.rule == "too_many_columns"


def test_the_header_of_a_sheet_has_a_limit_too(book):
    """Columns of a sheet are counted up to the last name of its header."""
    path = book({"May": {(0, 0): "a", (0, 2): "c", (1, 0): "1"}})
    sheet = read_workbook(path)[0]
    assert sheet_reading(sheet, Limits(max_columns=3)).fault is None
    reading = sheet_reading(sheet, Limits(max_columns=2))
    assert (reading.fault.rule, reading.rows_read) == ("too_many_columns", 1)
