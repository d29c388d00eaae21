"""Any number of mappings a feed: which file and sheet each reads, and every row accounted for."""

from __future__ import annotations

import polars as pl
import xlsxwriter

from pipelines.store.deliveries import delivered, news_of
from pipelines.store.inputs import load_inputs

UNITS = "serial,model,shipped_on,site\n"


def test_a_file_is_read_for_the_mappings_that_name_it_wherever_it_lies(bench):
    """Of several feeds each reads it, whatever it is called; others are set aside as before."""
    bench.export("old/Dump 2025.txt", "SN,Kind,Day,M\nA1,repair,2025-01-02,CO-1\n")
    bench.export("old/other.csv", "a\n1\n")
    bench.mapping(
        "calls.toml",
        'feed = "service_calls"\nfiles = ["OLD/dump*"]\n[columns]\ncall = "#line"\n'
        'serial = "SN"\nopened_on = "Day"\n',
    )
    bench.mapping(
        "register.toml",
        'feed = "units"\nfiles = ["**/Dump*.txt"]\n[columns]\nserial = "SN"\nmodel = "M"\n'
        'shipped_on = "Day"\n',
    )
    assert bench.accounts() == [
        ("service_calls", "calls.toml", "old/Dump 2025.txt", None, 1, 1, 0),
        ("units", "register.toml", "old/Dump 2025.txt", None, 1, 1, 0),
        (None, None, "old/other.csv", None, 1, 0, 1),
    ]


def test_two_mappings_that_serve_a_file_set_it_aside_and_are_named(bench):
    """They are never merged."""
    bench.export("units/a.csv", UNITS + "A1,CO-1,2025-01-02,S\n")
    for name in ("one.toml", "two.toml"):
        bench.mapping(name, 'feed = "units"\nfiles = ["units/*"]\n')
    told = bench.check()
    assert [(p["rule"], p["feed"]) for p in told["problems"]] == [("two_mappings", "units")]
    assert "mappings/one.toml and mappings/two.toml" in told["problems"][0]["sentence"]
    assert bench.accounts("rows_read", "set_aside") == [(1, 1)]


def test_days_in_names_choose_the_mapping(bench):
    """Both bounds count; written as the mapping says; without a day those without bounds serve."""
    row = "A{},CO-1,2025-01-02,S\n"
    for number, day in enumerate(("20250228", "20250301", "20250331", "20250401", "nothing")):
        bench.export(f"units/u_{day}.csv", UNITS + row.format(number))
    bench.mapping("units.toml", "")
    bench.mapping(
        "march.toml",
        'feed = "units"\nfiles = ["units/*.csv"]\nfile_date = "%Y%m%d"\n'
        "valid_from = 2025-03-01\nvalid_until = 2025-03-31\n",
    )
    assert bench.accounts("file", "mapping", "through_date") == [
        ("units/u_20250228.csv", "units.toml", "2025-01-02"),
        ("units/u_20250301.csv", "march.toml", "2025-03-01"),
        ("units/u_20250331.csv", "march.toml", "2025-03-31"),
        ("units/u_20250401.csv", "units.toml", "2025-01-02"),
        ("units/u_nothing.csv", "units.toml", "2025-01-02"),
    ]


def test_two_mappings_for_all_files_of_a_feed_are_a_fault(bench, run):
    """On one day at most one may be without files."""
    bench.export("units/a.csv", UNITS)
    bench.mapping("units.toml", "")
    bench.mapping("more.toml", 'feed = "units"\nvalid_from = 2025-01-01\n')
    told = run("check", bench.folder, "--as-of", "2025-12-31")
    assert told.code == 2
    assert "mappings/units.toml: is for all files of units" in told.err
    bench.mapping("units.toml", "valid_until = 2024-12-31\n")
    assert run("check", bench.folder, "--as-of", "2025-12-31").code != 2


def test_a_mapping_that_no_file_is_named_by_is_told_and_no_fault(bench):
    """So is an entry that leaves out nothing, or every row."""
    bench.export("units/a.csv", UNITS + "A1,CO-1,2025-01-02,S\nA2,CO-1,2025-01-02,S\n")
    bench.mapping("none.toml", 'feed = "units"\nfiles = ["nowhere*"]\n')
    bench.mapping(
        "units.toml",
        '[[leave_out]]\nreason = "nothing"\nheader = "site"\nis = ["X"]\n'
        '[[leave_out]]\nreason = "all"\nheader = "site"\nis = ["S"]\n',
    )
    told = bench.check()
    assert told["unused"] == [
        "mappings/none.toml: no file below exports/ is named by files = nowhere*.",
        'mappings/units.toml: the entry "nothing" leaves out no row.',
        'mappings/units.toml: the entry "all" leaves out every row.',
    ]
    assert told["left_out"] == [
        {"feed": "units", "mapping": "units.toml", "reason": "all", "rows": 2}
    ]


def test_doctor_knows_what_mappings_name(bench, run):
    """A file that one names is no file of no feed; one that names nothing is told."""
    bench.export("deep/down/a.csv", UNITS)
    bench.mapping("deep.toml", 'feed = "units"\nfiles = ["deep/**"]\n')
    bench.mapping("none.toml", 'feed = "units"\nfiles = ["nowhere*"]\n')
    told = run("doctor", bench.folder).out
    assert "mappings/none.toml: no file below exports/ is named by files = nowhere*." in told
    assert "deep/down/a.csv is of no feed" not in told


def test_titles_above_the_header_are_no_rows(bench):
    """The header is the row that holds all that is required; its delimiter is the file's."""
    titles = "Register of units, printed; by hand; for us\n\nserial and more,x\n"
    bench.export("units/a.csv", titles + "serial;model;shipped_on\nA1;CO-1;2025-01-02\n")
    assert bench.accounts("header_line", "rows_read", "records") == [(4, 1, 1)]


def test_a_header_row_that_is_told_is_the_header(bench):
    """Also where another row would fit."""
    bench.export("units/a.csv", UNITS + UNITS + "A1,CO-1,2025-01-02,S\n")
    bench.mapping("units.toml", "header_row = 2\n")
    assert bench.accounts("header_line", "rows_read", "records") == [(2, 1, 1)]
    bench.mapping("units.toml", "header_row = 9\n")
    assert bench.rules() == [("units", "no_header_row")]


def test_a_missing_header_names_what_was_looked_for(bench):
    """The header that the mapping names, for which column, and others that come near."""
    bench.export("units/a.csv", "Serial No,model,shipped_on\nA1,CO-1,2025-01-02\n")
    bench.mapping("units.toml", '[columns]\nserial = "Serial Nbr"\n')
    (problem,) = bench.check()["problems"]
    assert (
        'the header "Serial Nbr", which mappings/units.toml names for serial'
        in (problem["sentence"])
    )
    assert '"Serial No"' in problem["sentence"]


HEAD = ("serial", "model", "shipped_on", "site")


def test_an_untouched_template_is_read_by_the_feeds_names(bench):
    """Whatever a mapping without files says of columns, of the header's row or of sheets."""
    bench.export("units/a.csv", "serial,model,shipped_on,site\n")
    bench.book("units/b.xlsx", [("Sheet1", [HEAD])])
    for scope in ("", "header_row = 4\n", 'sheets = ["Register*"]\n'):
        bench.mapping("units.toml", scope + '[columns]\nserial = "SN"\n')
        assert bench.accounts("rows_read", "set_aside", "header_line") == [(0, 0, 1), (0, 0, 1)]
        assert bench.rules() == []


def test_every_sheet_of_a_workbook_has_its_line(bench):
    """Read where the header is found, else set aside as of no mapping; empty ones are zeros."""
    bench.book(
        "units/book.xlsx",
        [
            ("2024", [("Register 2024",), HEAD, ("A1", "CO-1", "2024-01-02", "S")]),
            ("Notes", [("read me",), ("twice",)]),
            ("Empty", []),
            ("2025", [HEAD, ("A1", "CO-1", "2024-01-02", "T"), ("A2", "CO-1", "2025-01-02", "S")]),
        ],
    )
    told = bench.accounts(
        "feed", "sheet", "header_line", "rows_read", "records", "superseded", "set_aside"
    )
    assert told == [
        ("units", "2024", 2, 1, 0, 1, 0),
        ("units", "2025", 1, 2, 2, 0, 0),
        (None, "Empty", 1, 0, 0, 0, 0),
        (None, "Notes", 1, 2, 0, 0, 2),
    ]
    assert bench.rules() == [(None, "no_mapping")] or bench.rules() == [("", "no_mapping")]


def test_sheets_of_a_workbook_of_no_feed_have_their_lines_too(bench):
    """The first with a cell is set aside as the file would be, the others as of no mapping."""
    rows = [HEAD, ("A1", "CO-1", "2024-01-02", "S")]
    bench.book("dump.xlsx", [("Empty", []), ("2024", rows), ("2025", [*rows, ("total",)])])
    told = bench.accounts("feed", "sheet", "rows_read", "set_aside")
    assert told == [(None, "2024", 1, 1), (None, "2025", 3, 3), (None, "Empty", 0, 0)]
    assert sorted(rule for _, rule in bench.rules()) == ["no_feed", "no_mapping"]


def test_a_workbook_in_which_no_sheet_is_read_tells_what_the_first_lacks(bench):
    """The first sheet that holds a cell, as a file of the feed would be; others of no mapping."""
    bench.book(
        "units/book.xlsx", [("E", []), ("One", [("serial",), ("A1",)]), ("Two", [("x",), ("y",)])]
    )
    assert sorted(rule for _, rule in bench.rules()) == ["missing_column", "no_mapping"]
    assert [one for one in bench.accounts("feed", "sheet", "set_aside") if one[2]] == [
        ("units", "One", 1),
        (None, "Two", 2),
    ]


def test_sheets_that_a_mapping_names_and_leaves_out(bench):
    """Sheets that it names are read; those that it leaves out count their rows, and stand once."""
    bench.book(
        "book.xlsx",
        [
            ("Cover", [("x",), ("y",), ("z",)]),
            ("Orders 2025", [HEAD, ("A1", "CO-1", "2025-01-02", "S")]),
            ("Other", [HEAD, ("A2", "CO-1", "2025-01-02", "S")]),
        ],
    )
    bench.mapping(
        "m.toml",
        'feed = "units"\nfiles = ["book*"]\nsheets = ["orders 20*"]\n'
        '[[leave_out]]\nreason = "cover sheet"\nsheets = ["Cover", "Legend*"]\n',
    )
    told = bench.check()
    assert told["left_out"] == [
        {"feed": "units", "mapping": "m.toml", "reason": "cover sheet", "rows": 3}
    ]
    assert bench.accounts("feed", "sheet", "records", "left_out", "set_aside") == [
        ("units", "Cover", 0, 3, 0),
        ("units", "Orders 2025", 1, 0, 0),
        (None, "Other", 0, 0, 2),
    ]


def test_a_stray_cell_at_the_end_of_a_sheet_stops_nothing_else(bench):
    """Its sheet is set aside with a sentence; other sheets and files go on."""
    path = bench.folder / "exports" / "units.xlsx"
    with xlsxwriter.Workbook(path) as book:
        stray = book.add_worksheet("Stray")
        stray.write(1048575, 16383, "x")
        sound = book.add_worksheet("Sound")
        sound.write_row(0, 0, HEAD)
        sound.write_row(1, 0, ("A1", "CO-1", "2025-01-02", "S"))
    bench.export("startups.csv", "report,serial\nR1,A1\n")
    assert bench.rules() == [("units", "too_many_cells")]
    assert bench.accounts("feed", "sheet", "records") == [
        ("startups", None, 1),
        ("units", "Sound", 1),
        ("units", "Stray", 0),
    ]


def test_wide_and_long_laboratory_files_make_one_table(bench):
    """A sample told in both layouts is that of the later file."""
    head = "sample,site,point,sampled_on"
    bench.export("lab/w_2025-01-01.csv", head + ",ph\nS1,K,supply,2024-12-01,7\n")
    rows = [f"S{number},K,supply,2024-12-01,Calcium,40" for number in (1, 2)]
    bench.export("lab/l_2025-02-01.csv", "\n".join([head + ",test,res", *rows]) + "\n")
    bench.mapping("w.toml", 'feed = "water_tests"\nfiles = ["lab/w*"]\n')
    bench.mapping(
        "l.toml",
        'feed = "water_tests"\nfiles = ["lab/l*"]\nlayout = "long"\n[columns]\nanalyte = "test"\n'
        'value = "res"\n[analytes]\n"Calcium" = { column = "calcium_mg_l_caco3", basis = "Ca" }\n',
    )
    assert bench.accounts("file", "records", "superseded") == [
        ("lab/l_2025-02-01.csv", 2, 0),
        ("lab/w_2025-01-01.csv", 0, 1),
    ]


def test_aliases_are_applied_to_every_feed_without_a_mapping(bench):
    """What `check` sets aside as unknown is a record once a person says what it means."""
    bench.export("units/units.csv", UNITS + "A1,Force  Six,2025-01-02,Oak\n")
    assert bench.rules() == [("units", "unknown_model")]
    model = (bench.folder / "reference/models.csv").read_text().splitlines()[1].split(",")[0]
    aliases = bench.folder / "reference/aliases.csv"
    aliases.write_text(f"kind,written,means\nmodel,force six,{model}\n")
    assert bench.accounts("feed", "records", "set_aside") == [("units", 1, 0)]


def test_numbers_of_a_sheet_are_numbers_under_a_decimal_comma(bench):
    """A cell that the sheet itself types is looked at as the number that it is."""
    rows = [
        ["call", "serial", "kind", "opened_on", "Qty"],
        ["1", "A", "repair", "2025-01-01", -0.5],
        ["2", "A", "repair", "2025-01-01", 0.5],
        ["3", "A", "repair", "2025-01-01", "-0,5"],
    ]
    bench.book("service_calls/b.xlsx", [("S", rows)])
    bench.mapping(
        "service_calls.toml",
        'decimal = ","\n[columns]\nlabor_hours = "Qty"\n'
        '[[leave_out]]\nreason = "returned"\nheader = "Qty"\nbelow = 0\n',
    )
    assert bench.accounts("rows_read", "records", "left_out") == [(3, 1, 2)]
    assert [float(row["labor_hours"]) for row in bench.records("service_calls")] == [0.5]


def test_a_sheet_too_wide_is_told_as_that_beside_others_that_load(bench):
    """It is no sheet that nobody reads: the limit is named, and the other sheet goes on."""
    head = ["serial", "model", "shipped_on"]
    wide = [[*head, *range(2_000)], ["B1", "CO-1", "2025-01-02"]]
    bench.book("units/b.xlsx", [("Sound", [head, ["A1", "CO-1", "2025-01-02"]]), ("Wide", wide)])
    assert bench.accounts("feed", "sheet", "rows_read", "records", "set_aside") == [
        ("units", "Sound", 1, 1, 0),
        ("units", "Wide", 1, 0, 1),
    ]
    (problem,) = bench.check()["problems"]
    assert problem["rule"] == "too_many_columns"
    assert "The sheet Wide: The header on line 1 has 2,003 columns" in problem["sentence"]


def test_a_name_with_its_accents_apart_is_the_same_name(bench):
    """Some systems write `ä` as two characters in names of files, and people one in a mapping."""
    bench.export("Auftra\u0308ge.csv", UNITS + "A1,CO-1,2025-01-02,S\n")
    bench.mapping("register.toml", 'feed = "units"\nfiles = ["Auftr\u00e4ge*.csv"]\n')
    assert bench.accounts("feed", "mapping", "records") == [("units", "register.toml", 1)]


def test_entries_for_a_file_that_is_set_aside_whole_are_not_told_of(bench):
    """Nobody looked at its rows, so that an entry left out none of them is no news."""
    entry = '[[leave_out]]\nreason = "totals"\nfirst_cell = ["Total*"]\n'
    bench.export("units/a.csv", "serial,modl,shipped_on\nA1,CO-1,2025-01-02\n")
    bench.mapping("units.toml", entry)
    assert bench.check()["unused"] == []
    bench.export("units/b.csv", UNITS + "A1,CO-1,2025-01-02,S\n")
    told = 'mappings/units.toml: the entry "totals" leaves out no row.'
    assert bench.check()["unused"] == [told]


def test_a_file_that_is_set_aside_whole_completes_no_feed(bench):
    """Its rows are nowhere, so that what is missing may be in it, whatever day its name tells."""
    bench.export("units/u_2025-03-31.csv", UNITS + "A1,CO-1,2025-01-02,S\n")
    bench.export(
        "units/u_2025-06-30.csv", UNITS.replace("model", "modl") + "A2,CO-1,2025-05-02,S\n"
    )
    told = bench.check()
    assert [(one["file"], one["through_date"]) for one in told["accounts"]] == [
        ("units/u_2025-03-31.csv", "2025-03-31"),
        ("units/u_2025-06-30.csv", None),
    ]
    assert {one["feed"]: one["through_date"] for one in told["feeds"]}["units"] == "2025-03-31"


def test_a_file_of_no_feed_is_read_again_when_it_is_told_otherwise(bench):
    """Once the mapping is gone that named it for other days, nobody names it any more."""
    bench.export("a.csv", UNITS)
    bench.mapping("a.toml", 'feed = "units"\nfiles = ["a*"]\nvalid_from = 2025-01-01\n')
    (named,) = delivered(load_inputs(bench.folder, "2025-12-31"))
    (bench.folder / "mappings" / "a.toml").unlink()
    (unnamed,) = delivered(load_inputs(bench.folder, "2025-12-31"))
    known = pl.DataFrame({"file": ["a.csv"], "sha256": [named.sha256], "read_by": [named.read_by]})
    assert news_of([named], known) == {"a.csv": "unchanged"}
    assert news_of([unnamed], known) == {"a.csv": "changed"}
