"""Rows that stay out, rows that are split, titles above the header: each accounted for."""

from __future__ import annotations

import pytest

from pipelines.errors import WorkspaceError
from pipelines.records.globs import fits, fits_path
from pipelines.records.left_out import CellTest, LeaveOut

UNITS = "serial,model,shipped_on,site,site_name\n"


def left(desk, entry, rows, feed="units", head=UNITS):
    """The lines that an entry leaves out, and the lines that are sound."""
    parsed = desk.parse(feed, head + rows, f'[[leave_out]]\nreason = "why"\n{entry}')
    assert parsed.rows_read == parsed.left_out.height + parsed.rows.height + (
        parsed.set_aside["line"].n_unique()
    )
    assert parsed.left_out["reason"].unique().to_list() in ([], ["why"])
    return parsed.left_out["line"].to_list(), parsed.rows["source_line"].to_list()


ROWS = "A,SK-2,2024-01-02,FREIGHT,10\nB,SK-2,2024-01-02,fee 3,20\nC,SK-2,2024-01-02,,x\n"


@pytest.mark.parametrize(
    ("entry", "lines"),
    [
        ('header = "site"\nis = ["freight", "FEE*"]', [2, 3]),
        ('header = "Site"\nis = ["FEE ?"]', [3]),
        ('header = "site"\nis = ["FEE"]', []),
        ('header = "site"\nis_not = ["FREIGHT"]', [3, 4]),
        ('header = "site"\nmatches = "^fr"', [2]),
        ('header = "site"\nempty = true', [4]),
        ('header = "site"\nempty = false', [2, 3]),
        ('header = "site_name"\nbelow = 20', [2]),
        ('header = "site_name"\nabove = 10', [3]),
        ('header = "site_name"\nabove = 9\nbelow = 20', [2]),
        ('header = "site"\nis = ["FEE*"]\nalso = [ { header = "serial", is = ["A"] } ]', []),
        ('header = "site"\nis = ["FEE*"]\nalso = [ { header = "serial", is = ["b"] } ]', [3]),
        ('first_cell = ["b"]', [3]),
    ],
)
def test_each_test_of_an_entry(desk, entry, lines):
    """In any case, on whole cells; bounds are not included, a cell that is no number fits none."""
    assert left(desk, entry, ROWS) == (lines, [n for n in (2, 3, 4) if n not in lines])


def test_the_first_cell_is_looked_at_before_fields_are_counted(desk):
    """Lines of totals are shorter than the header; a line that no entry names is set aside."""
    rows = 'A,SK-2,2024-01-02,,\n"Grand Totals, all",1\n,,Total\n*** End of report ***\nshort\n'
    entry = 'first_cell = ["Total*", "Grand Totals*", "[*][*][*] End*", "*End of report*"]'
    parsed = desk.parse("units", UNITS + rows, f'[[leave_out]]\nreason = "totals"\n{entry}')
    assert parsed.left_out["line"].to_list() == [3, 4, 5]
    assert parsed.set_aside["line"].to_list() == [6]
    assert (parsed.rows_read, parsed.rows.height) == (5, 1)


def test_a_filter_on_a_header_that_is_not_there_sets_the_file_aside(desk):
    """A filter that does nothing in silence is worse."""
    toml = '[[leave_out]]\nreason = "freight"\nheader = "SKU"\nis = ["F"]'
    parsed = desk.parse("units", UNITS + ROWS, toml)
    assert parsed.is_whole
    assert parsed.set_aside["rule"].to_list() == ["missing_header"]
    assert 'the header "SKU", which mappings/units.toml names' in parsed.set_aside["reason"][0]


def test_a_row_is_split_into_one_a_part(desk):
    """Longer separators first, empty parts dropped; other cells go with every part."""
    toml = '[transforms]\nserial = [ { split = [";", " / ", "/"] }, { pad = 3 } ]\n'
    rows = "1; 2;;3 / 4,SK-2,2024-01-02,S,\n;,SK-2,2024-01-02,S,\n5,SK-2,2024-01-02,S,\n"
    parsed = desk.parse("units", UNITS + rows, toml)
    assert parsed.rows.select("serial", "source_line", "source_part").rows() == [
        ("001", 2, 1),
        ("002", 2, 2),
        ("003", 2, 3),
        ("004", 2, 4),
        ("005", 4, 1),
    ]
    assert (parsed.rows_read, parsed.rows_split) == (3, 3)
    assert parsed.set_aside.select("line", "rule").rows() == [(3, "required")]


def test_parts_of_one_row_end_apart_and_add_up(desk):
    """The later part of a line wins; a part that cannot be read is set aside alone."""
    toml = (
        '[columns]\nline = "#part"\nproduct = "items"\n'
        '[transforms]\nproduct = [ { split = [","] } ]\n'
    )
    text = (
        "order,ordered_on,items,quantity,condition,seller,site\n"
        'O1,2024-01-02,"LIME-OFF, NOPE, CLEAR",1,new,S,K\n'
        'O1,2024-01-02,"LIME-OFF",1,new,S,K\n'
    )
    done = desk.account("treatment_purchases", {"p.csv": text}, toml)
    assert done.records.select("order", "line", "product", "source_line").rows() == [
        ("O1", "1", "LIME-OFF", 3),
        ("O1", "3", "CLEAR", 2),
    ]
    account = done.accounts.row(0, named=True)
    told = {
        n: account[n] for n in ("rows_read", "rows_split", "records", "duplicates", "set_aside")
    }
    assert told == {
        "rows_read": 2,
        "rows_split": 2,
        "records": 2,
        "duplicates": 1,
        "set_aside": 1,
    }


@pytest.mark.parametrize(
    ("glob", "path", "expected"),
    [
        ("ServiceOrders*.csv", "serviceorders 2025.CSV", True),
        ("ServiceOrders*.csv", "old/ServiceOrders.csv", False),
        ("*/ServiceOrders*.csv", "old/ServiceOrders.csv", True),
        ("**/S*.csv", "a/b/S.csv", True),
        ("**/S*.csv", "S.csv", True),
        ("a?.csv", "ab.csv", True),
        ("a.csv", "axcsv", False),
    ],
)
def test_patterns_of_files(glob, path, expected):
    """`*` stays within a folder, `**` crosses folders; in any case."""
    assert fits_path([glob], path) is expected


def test_patterns_of_names_are_for_the_whole_name():
    """A star stands for anything, also for a slash."""
    assert fits(["Orders 20*"], "orders 2024/25")
    assert not fits(["Orders"], "Orders 2024")


@pytest.mark.parametrize(
    "report", ['"Serials"', '{ join = ["Report", "serials"] }', '{ first = ["Serials", "Report"] }']
)
def test_a_key_that_names_the_split_header_has_its_part(desk, report):
    """So that parts of one row do not replace each other."""
    toml = (
        f'[columns]\nreport = {report}\nserial = "Serials"\n'
        '[transforms]\nserial = [ { split = [";"] } ]\n'
    )
    text = "Report,Serials,requested_on\nR1,A1; A2,2024-01-02\nR1,A3,2024-01-03\n"
    done = desk.account("startups", {"s.csv": text}, toml)
    apart = "R1 " if "join" in report else ""
    assert done.records.sort("serial").select("report", "serial").rows() == [
        (f"{apart}{serial}", serial) for serial in ("A1", "A2", "A3")
    ]


@pytest.mark.parametrize(
    "columns",
    [
        'report = "Report"\nserial = "Serials"',
        'report = { first = ["Report", "Serials"] }\nserial = "Serials"',
        'report = { first = ["Report", "#part"] }\nserial = "Serials"',
        'report = "Serials"\nserial = { join = ["Serials", "More"] }',
    ],
)
def test_a_key_that_may_be_the_same_for_all_parts_is_a_fault(desk, columns):
    """Also where the split header is only looked at when another one is empty."""
    with pytest.raises(WorkspaceError, match="would replace each other"):
        desk.mapping(
            "startups", f'[columns]\n{columns}\n[transforms]\nserial = [ {{ split = [";"] }} ]\n'
        )


def test_a_place_that_a_file_has_not_is_empty(desk):
    """A CSV file has no sheet, so that nothing is put together with one."""
    toml = (
        '[columns]\ncall = { join = ["#sheet", "#line"], with = "/" }\n'
        'notes = { first = ["#sheet", "kind"] }\n'
    )
    text = "serial,kind,opened_on\nA,repair,2024-01-02\n"
    rows = desk.parse("service_calls", text, toml).rows
    assert rows.select("call", "notes").rows() == [("2", "repair")]


def test_an_entry_leaves_out_whole_sheets_only_where_it_looks_at_no_cell():
    """With a test or a first cell it looks at the rows of its sheets."""
    looks = (CellTest("A", empty=True),)
    whole = [
        LeaveOut("r", sheets=("May",)),
        LeaveOut("r", tests=looks, sheets=("May",)),
        LeaveOut("r", first_cell=("Sum",), sheets=("May",)),
        LeaveOut("r", tests=looks),
    ]
    assert [entry.is_of_sheets for entry in whole] == [True, False, False, False]


@pytest.mark.parametrize("separators", ['[",", ", and "]', '[", and ", ","]'])
def test_the_longest_separator_is_looked_for_first(desk, separators):
    """In whatever order they are told."""
    toml = f"[transforms]\nserial = [ {{ split = {separators} }} ]\n"
    parsed = desk.parse("units", UNITS + '"A1, and B2,C3",SK-2,2024-01-02,,\n', toml)
    assert parsed.rows["serial"].to_list() == ["A1", "B2", "C3"]
