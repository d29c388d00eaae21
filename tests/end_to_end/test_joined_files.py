"""Several files as one row: what joins find, add up and set aside, and every joined row's end."""

from __future__ import annotations

import polars as pl
import pytest

CALLS = "Order,SN,Kind,Day\n"
MAPPING = """feed = "service_calls"
files = ["orders*.csv"]
[columns]
call = "Order"
serial = "SN"
kind = "Kind"
opened_on = "Day"
claim = "claim.Claim_No"
claimed_on = "claim.Submitted"
parts_amount = "line.parts"
labor_hours = "line.hours"
part = "line.part"
[[join]]
name = "claim"
files = ["claims_header*.csv"]
on = { "Order" = "Order_Ref" }
on_steps = [ { strip_zeros = true } ]
"""
LINES = """[[join]]
name = "line"
files = ["claims_lines*.csv"]
on = { "claim.Claim_No" = "Claim_No" }
sum.parts = { header = "Ext", where = { Type = ["MAT", "FRT"] } }
sum.hours = { header = "Qty", where = { Type = ["LAB"] } }
first.part = { header = "Part_No", where = { Type = "MAT" } }
"""
HEADS = "Order_Ref,Claim_No,Submitted,Status\n"
LINE_HEADS = "Claim_No,Type,Part_No,Qty,Ext\n"


@pytest.fixture
def joins(bench):
    """A Bench with a mapping of two joins, three orders, two claims and their lines."""
    bench.mapping("calls.toml", MAPPING + LINES)
    bench.export(
        "orders 2025-06-30.csv",
        CALLS + "001,A1,repair,2025-01-02\n002,A2,repair,2025-01-03\n3,A3,delime,2025-01-04\n",
    )
    bench.export("claims_header.csv", HEADS + "1,C-1,2025-02-01,open\n0002,c-2,2025-02-02,open\n")
    bench.export(
        "claims_lines.csv",
        LINE_HEADS
        + "C-1,MAT,P7,2,10.10\nC-1,mat,P8,1,0.20\nC-1,LAB,,1.5,90\nC-1,FRT,,,\nC-2,LAB,,2,1\n",
    )
    return bench


def ends(bench, *names):
    """The accounts by file: the columns named, without those of the feed's key."""
    return {one[0].split(".")[0]: one[1:] for one in bench.accounts("file", *names)}


def test_a_call_its_claim_and_the_claims_lines_are_one_record(joins):
    """Keys after steps, in any case; sums are exact; a row without a joined one has none."""
    rows = joins.records("service_calls")
    assert [
        (r["call"], r["claim"], r["claimed_on"], r["parts_amount"], r["labor_hours"], r["part"])
        for r in rows
    ] == [
        ("001", "C-1", "2025-02-01", "10.300000", "1.5000000000", "P7"),
        ("002", "c-2", "2025-02-02", "0.000000", "2.0000000000", None),
        ("3", None, None, None, None, None),
    ]
    assert {r["source_file"] for r in rows} == {"orders 2025-06-30.csv"}
    told = ends(joins, "feed", "mapping", "rows_read", "records", "joined", "set_aside")
    assert told == {
        "claims_header": ("service_calls", "calls.toml", 2, 0, 2, 0),
        "claims_lines": ("service_calls", "calls.toml", 5, 0, 5, 0),
        "orders 2025-06-30": ("service_calls", "calls.toml", 3, 3, 0, 0),
    }


def test_a_joined_file_dates_no_feed(joins):
    """Its day is told of none, however late it is."""
    joins.rename("claims_lines.csv", "claims_lines 2025-12-01.csv")
    joins.rename("claims_header.csv", "claims_header 2025-12-01.csv")
    told = joins.check()
    assert [one["through_date"] for one in told["accounts"]] == [None, None, "2025-06-30"]
    (calls,) = [one for one in told["feeds"] if one["feed"] == "service_calls"]
    assert calls["through_date"] == "2025-06-30"


def test_rows_that_nothing_takes_are_set_aside(joins):
    """No row has the key; the key is empty; a number cannot be read; no sum and no first fits."""
    joins.export(
        "claims_lines.csv",
        LINE_HEADS
        + "C-1,MAT,P7,2,10.10\nC-9,MAT,P8,1,0.20\n,MAT,P8,1,0.20\nC-2,TXT,,x,x\nC-2,MAT,,,1.x\n",
    )
    assert joins.aside("claims_lines.csv") == [
        (3, "", "joins_nothing", "C-9"),
        (4, "", "joins_nothing", ""),
        (5, "", "joined_nowhere", "C-2"),
        (6, "parts_amount", "number", "1.x"),
    ]
    assert joins.aside("orders 2025-06-30.csv") == [(3, "", "joined_row_unreadable", "C-2")]
    told = ends(joins, "records", "joined", "set_aside")
    assert told["claims_lines"] == (0, 1, 4)
    assert told["orders 2025-06-30"] == (2, 0, 1)


def test_several_joined_rows_that_differ_set_the_row_and_themselves_aside(joins):
    """Copies of one are its duplicates; the lines of a claim that is told twice stay joined."""
    joins.export(
        "claims_header.csv",
        HEADS
        + "1,C-1,2025-02-01,open\n1,C-1,2025-02-01,open\n 1 ,C-1,2025-02-01,open\n"
        + "2,C-2,2025-02-02,open\n02,C-2,2025-02-02,open\n",
    )
    assert joins.aside("claims_header.csv") == [
        (5, "", "joins_several", "2"),
        (6, "", "joins_several", "02"),
    ]
    assert joins.aside("orders 2025-06-30.csv") == [(3, "", "joins_several", "2")]
    told = ends(joins, "records", "joined", "duplicates", "set_aside")
    assert told["claims_header"] == (0, 1, 2, 2)
    assert told["claims_lines"] == (0, 5, 0, 0)


def test_a_row_that_its_join_sets_aside_may_hold_several(joins):
    """An order of two units and two claims that differ: set aside as the one row that it is."""
    parts = MAPPING.replace('call = "Order"', 'call = { join = ["Order", "#part"] }')
    joins.mapping("calls.toml", parts + LINES + '[transforms]\nserial = [ { split = [";"] } ]\n')
    joins.export("orders 2025-06-30.csv", CALLS + "1,A1;A2,repair,2025-01-02\n")
    joins.export("claims_header.csv", HEADS + "1,C-1,2025-02-01,open\n1,C-2,2025-02-02,open\n")
    assert joins.aside("orders 2025-06-30.csv") == [(2, "", "joins_several", "1")]
    told = ends(joins, "rows_read", "records", "set_aside")
    assert told["orders 2025-06-30"] == (1, 0, 1)


def test_rows_left_out_of_a_join_and_by_what_a_join_found(joins):
    """A joined row that is left out joins nothing; an order left out leaves its claim joined."""
    joins.mapping(
        "calls.toml",
        MAPPING
        + '[[join.leave_out]]\nreason = "withdrawn"\nheader = "Status"\nis = ["W*"]\n'
        + '[[join.leave_out]]\nreason = "totals"\nfirst_cell = ["Total*"]\n'
        + LINES
        + '[[leave_out]]\nreason = "not for us"\nheader = "claim.Status"\nis = ["other"]\n'
        + '[[leave_out]]\nreason = "dear"\nheader = "line.parts"\nabove = 1000\n',
    )
    joins.export(
        "claims_header.csv",
        HEADS + "1,C-1,2025-02-01,Other\n2,C-2,2025-02-02,withdrawn\nTotal,2\n",
    )
    told = joins.check()
    assert sorted((one["reason"], one["rows"]) for one in told["left_out"]) == [
        ("not for us", 1),
        ("totals", 1),
        ("withdrawn", 1),
    ]
    assert told["unused"] == ['mappings/calls.toml: the entry "dear" leaves out no row.']
    told = ends(joins, "records", "joined", "left_out", "set_aside")
    assert told["claims_header"] == (0, 1, 2, 0)
    assert told["orders 2025-06-30"] == (2, 0, 1, 0)
    assert told["claims_lines"] == (0, 4, 0, 1)
    assert joins.aside("claims_lines.csv") == [(6, "", "joins_nothing", "C-2")]


def test_a_join_without_its_file_sets_the_files_that_need_it_aside(joins):
    """None, or one that lacks a header; the sentence names join, mapping and file."""
    joins.remove("claims_lines.csv")
    assert joins.aside("orders 2025-06-30.csv") == [(1, "", "join_missing", "")]
    told = joins.check()
    assert told["unused"] == [
        "mappings/calls.toml: no file below exports/ is named by files = claims_lines*.csv of the "
        "join line."
    ]
    joins.export("claims_lines.csv", "Claim No,Type,Part_No,Amount\nC-1,MAT,P7,1\n")
    told = joins.check()
    assert [(one["rule"], one["first_file"]) for one in told["problems"][:2]] == [
        ("missing_header", "claims_lines.csv"),
        ("join_missing", "orders 2025-06-30.csv"),
    ]
    sentence = told["problems"][0]["sentence"]
    assert '"Ext" or "Qty", which mappings/calls.toml names under the join line' in sentence
    assert "claims_lines.csv, which it names, is set aside" in told["problems"][1]["sentence"]
    assert ends(joins, "rows_read", "set_aside")["orders 2025-06-30"] == (3, 3)


def test_decimal_commas_and_titles_of_a_joined_file(joins):
    """Numbers by the join's own marks; its header is found below titles by what the join names."""
    joins.mapping(
        "calls.toml",
        MAPPING + LINES.replace("on =", 'decimal = ","\nthousands = "."\non =', 1),
    )
    joins.export(
        "claims_lines.csv",
        "Lines of claims;;;;\n;;;;\nClaim_No;Type;Part_No;Qty;Ext\n"
        "C-1;MAT;P1;1;1.591,81\nC-1;MAT;P1;1;0,195\nC-1;LAB;;0,25;\n",
    )
    (first, *_) = joins.records("service_calls")
    assert (first["parts_amount"], first["labor_hours"]) == ("1592.005000", "0.2500000000")
    assert dict(joins.accounts("file", "header_line"))["claims_lines.csv"] == 3


def test_days_in_names_choose_the_files_of_a_join(joins):
    """One out of them is not joined; that nobody reads it is told."""
    joins.mapping("calls.toml", MAPPING + LINES.replace("on =", "valid_from = 2025-03-01\non =", 1))
    joins.rename("claims_lines.csv", "claims_lines 2025-03-01.csv")
    joins.export("claims_lines 2025-02-28.csv", LINE_HEADS + "C-1,MAT,P7,2,1\n")
    (first, *_) = joins.records("service_calls")
    assert first["parts_amount"] == "10.300000"
    assert (None, "claims_lines 2025-02-28.csv", 1) in joins.accounts("feed", "file", "set_aside")


def test_sheets_of_one_workbook_are_joined_to_each_other(joins):
    """The mapping reads the sheet of orders, its joins the others; one of none is told."""
    for name in ("orders 2025-06-30.csv", "claims_header.csv", "claims_lines.csv"):
        joins.remove(name)
    joins.mapping(
        "calls.toml",
        (MAPPING + LINES)
        .replace("*.csv", "*.xlsx")
        .replace("claims_lines*", "orders*")
        .replace("claims_header*", "orders*"),
    )
    joins.book(
        "orders 2025-06-30.xlsx",
        [
            ("Calls", [("Order", "SN", "Kind", "Day"), ("1", "A1", "repair", "2025-01-02")]),
            ("Claims", [tuple(HEADS.strip().split(",")), ("1", "C-1", "2025-02-01", "x")]),
            ("Lines", [tuple(LINE_HEADS.strip().split(",")), ("C-1", "MAT", "P7", 1, 2.5)]),
            ("Notes", [("read me",)]),
        ],
    )
    (only,) = joins.records("service_calls")
    assert (only["claim"], only["parts_amount"]) == ("C-1", "2.500000")
    assert joins.accounts("feed", "sheet", "records", "joined", "set_aside") == [
        ("service_calls", "Calls", 1, 0, 0),
        ("service_calls", "Claims", 0, 1, 0),
        ("service_calls", "Lines", 0, 1, 0),
        (None, "Notes", 0, 0, 1),
    ]


def test_a_sheet_that_cannot_be_joined_is_named(joins):
    """By what is wrong with it, and by the sheet that needs it."""
    joins.remove("orders 2025-06-30.csv")
    join = 'files = ["orders*.xlsx"]\nsheets = ["Claims"]\nheader_row = 7'
    joins.mapping(
        "calls.toml",
        MAPPING.replace('files = ["claims_header*.csv"]', join).replace("*.csv", "*.xlsx"),
    )
    joins.book(
        "orders 2025-06-30.xlsx",
        [
            ("Calls", [("Order", "SN", "Kind", "Day"), ("1", "A1", "repair", "2025-01-02")]),
            ("Claims", [tuple(HEADS.strip().split(","))]),
        ],
    )
    sentences = " ".join(one["sentence"] for one in joins.check()["problems"])
    assert "The sheet Claims: Row 7, which the mapping names as header_row, is empty" in sentences
    assert "the sheet Claims of orders 2025-06-30.xlsx, which it names, is set aside" in sentences


def test_a_joined_file_of_the_feeds_own_folder_is_read_by_the_join_alone(joins):
    """So is one that the mapping's own pattern names too; another feed's stays that feed's."""
    joins.mapping("calls.toml", (MAPPING + LINES).replace('"orders*.csv"', '"orders*", "claims*"'))
    told = ends(joins, "feed", "records", "joined", "set_aside")
    assert told["claims_header"] == ("service_calls", 0, 2, 0)
    joins.mapping("calls.toml", (MAPPING + LINES).replace("claims_lines*", "service_calls/lines*"))
    joins.rename("claims_lines.csv", "service_calls/lines.csv")
    told = ends(joins, "feed", "records", "joined", "set_aside")
    assert told["service_calls/lines"] == ("service_calls", 0, 5, 0)


def test_places_and_headers_that_repeat_are_named_of_joins(joins):
    """`claim.#file`, the second of equal headers, and a header so far that is a place."""
    joins.mapping(
        "calls.toml",
        MAPPING.replace("[[join]]", 'notes = { join = ["claim.#line", "claim.Note#2"] }\n[[join]]')
        .replace('claim = "claim.Claim_No"', 'claim = "claim.claim no"')
        .replace('{ "Order" = "Order_Ref" }', '{ "#line" = "Row", "SN" = "Order_Ref" }')
        + LINES,
    )
    joins.export(
        "claims_header.csv",
        "Row,Order_Ref,Claim_No,Submitted,Note,Note\n2,a1,C-1,2025-02-01,x,y\n9,A2,C-2,,,\n",
    )
    assert [(r["claim"], r["notes"]) for r in joins.records("service_calls")] == [
        ("C-1", "2 y"),
        (None, None),
        (None, None),
    ]
    assert joins.aside("claims_header.csv") == [(3, "", "joins_nothing", "9 + A2")]


def test_a_changed_joined_file_is_read_again_with_what_needs_it(joins, run, no_figures, no_pages):
    """The call changes with the claim's lines; the next refresh reads no other file again."""
    units = "serial,model,shipped_on\nA1,CO-1,2024-01-02\n"
    joins.export("units 2025-06-30.csv", units)
    run("refresh", joins.folder, "--as-of", "2025-06-30")
    data = joins.folder / "published" / "data"
    before = pl.read_parquet(data / "service_calls.parquet")
    assert before["parts_amount"].cast(pl.String).to_list() == ["10.300000", "0.000000", None]
    joins.export("claims_lines.csv", LINE_HEADS + "C-1,MAT,P7,2,99\nC-2,TXT,,,\n")
    run("refresh", joins.folder, "--as-of", "2025-07-01")
    after = pl.read_parquet(data / "service_calls.parquet")
    assert after["parts_amount"].cast(pl.String).to_list() == ["99.000000", "0.000000", None]
    accounts = pl.read_parquet(data / "row_accounts.parquet").filter(pl.col("feed") != "units")
    assert accounts.select("file", "records", "joined", "set_aside").rows() == [
        ("claims_header.csv", 0, 2, 0),
        ("claims_lines.csv", 0, 1, 1),
        ("orders 2025-06-30.csv", 3, 0, 0),
    ]
    aside = pl.read_parquet(data / "set_aside.parquet")
    assert aside.select("feed", "file", "line", "rule").rows() == [
        ("service_calls", "claims_lines.csv", 3, "joined_nowhere")
    ]
    more = '[[join]]\nname = "x"\nfiles = ["no*"]\non = { "SN" = "S" }\n'
    joins.mapping("calls.toml", MAPPING + LINES + more)
    told = [one["sentence"] for one in run("doctor", joins.folder, "--json").json["findings"]]
    named = "mappings/calls.toml: no file below exports/ is named by files = no* of the join x."
    assert told.count(named) == 1


def test_a_mapping_with_joins_is_tried_with_the_files_that_it_names(joins, run, tmp_path):
    """A file that lies elsewhere is joined with the workspace's; only its own rows are told."""
    orders = joins.folder / "exports" / "orders 2025-06-30.csv"
    elsewhere = tmp_path / "mine.csv"
    elsewhere.write_text(orders.read_text(encoding="utf-8"), encoding="utf-8")
    joins.remove("orders 2025-06-30.csv")
    tried = joins.folder / "mappings" / "calls.toml"
    told = run("map", elsewhere, joins.folder, "--try", tried, "--json").json["trial"]
    assert [(one["file"], one["records"]) for one in told["accounts"]] == [("mine.csv", 3)]
    assert [one["claim"] for one in told["records"]] == ["C-1", "c-2", None]
