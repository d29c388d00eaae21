"""The fate of every row: versions, duplicates, references and claim numbers."""

import datetime as dt

import polars as pl
import pytest

from pipelines.records.cross_checks import RANK
from pipelines.records.long_layout import one_layout
from pipelines.records.through_dates import rank_of
from schemas.feeds import record_schema

UNITS = "serial,model,shipped_on,site\n"
CALLS = "call,claim,serial,kind,opened_on,cause\n"
DAY = dt.date


def fates(done):
    """The fate by file and line."""
    return {
        (file, line): fate for file, line, fate in done.fates.select("file", "line", "fate").rows()
    }


def counts(done):
    """Rows read and the four ends, by file."""
    columns = ["rows_read", "records", "superseded", "duplicates", "set_aside"]
    return {row[0]: row[1:] for row in done.accounts.select("file", *columns).rows()}


def test_the_later_line_wins_and_what_it_beats_is_told_apart(desk):
    """The same row again is a duplicate as typed, a different one is superseded."""
    text = (
        UNITS
        + "A-1,SK-2,2024-01-02,K\na1,SK-2,2024-01-02,K\nA1,SK-2,2024-01-02,L\nB,SK-2,2024-01-02,\n"
    )
    done = desk.account("units", {"units.csv": text})
    assert fates(done) == {
        ("units.csv", 2): "duplicate",
        ("units.csv", 3): "superseded",
        ("units.csv", 4): "record",
        ("units.csv", 5): "record",
    }
    assert done.records.select("serial", "site", "source_line").rows() == [
        ("A1", "L", 4),
        ("B", None, 5),
    ]
    assert done.records.schema == record_schema("units")


def test_a_duplicate_is_one_of_any_row_that_beats_it(desk):
    """A row that comes back unchanged after a correction beats it; the first is its duplicate."""
    text = UNITS + "A,SK-2,2024-01-02,K\nA,SK-2,2024-01-02,L\nA,SK-2,2024-01-02,K\n"
    assert desk.account("units", {"u.csv": text}).fates.sort("line")["fate"].to_list() == [
        "duplicate",
        "superseded",
        "record",
    ]


def test_the_later_through_date_wins_over_name_and_line(desk):
    """The date in the name goes before the latest day in the file."""
    old = UNITS + "A,SK-2,2024-06-01,OLD\n"
    new = UNITS + "A,SK-2,2024-01-02,NEW\n"
    files = {("z.csv", DAY(2024, 2, 1)): old, ("a.csv", DAY(2024, 3, 1)): new}
    done = desk.account("units", files)
    assert done.records["site"].to_list() == ["NEW"]
    assert dict(done.accounts.select("file", "through_date").rows()) == {
        "z.csv": DAY(2024, 2, 1),
        "a.csv": DAY(2024, 3, 1),
    }
    assert done.through_date == DAY(2024, 3, 1)


def test_without_a_date_in_the_name_the_latest_seen_day_counts(desk):
    """A file is through on the latest day by which its sound rows are seen."""
    text = (
        "report,serial,requested_on,completed_on\n"
        "1,A,,2024-05-01\n"
        "2,A,2024-04-01,2024-09-09\n"
        "3,A,,\n"
        "4,,2025-01-01,\n"
    )
    done = desk.account("startups", {"s.csv": text})
    assert done.through_date == DAY(2024, 5, 1)


def test_of_files_with_one_through_date_the_later_name_wins_whatever_its_folder(desk):
    """The name decides; the folder only where names are the same."""
    row = UNITS + "A,SK-2,2024-01-02,{}\n"
    day = DAY(2024, 3, 1)
    files = {("units_b.csv", day): row.format("B"), ("units/z.csv", day): row.format("Z")}
    assert desk.account("units", files).records["site"].to_list() == ["Z"]
    files = {("x/u.csv", day): row.format("X"), ("y/u.csv", day): row.format("Y")}
    assert desk.account("units", files).records["site"].to_list() == ["Y"]


def test_a_file_without_any_date_is_the_earliest(desk):
    """A start-up report with neither date gives its file no through date."""
    text = "report,serial,agency\n1,A,{}\n"
    files = {"z.csv": text.format("UNDATED"), ("a.csv", DAY(2020, 1, 1)): text.format("DATED")}
    done = desk.account("startups", files)
    assert done.records["agency"].to_list() == ["DATED"]
    assert desk.account("startups", {"z.csv": text.format("X")}).through_date is None


def test_a_row_set_aside_beats_nothing(desk):
    """A later version that cannot be used leaves the older one in place."""
    text = UNITS + "A,SK-2,2024-01-02,K\nA,SK-2,2024-13-02,L\nA,NOPE,2024-01-02,M\n"
    done = desk.account("units", {"u.csv": text})
    assert done.records["site"].to_list() == ["K"]
    assert counts(done) == {"u.csv": (3, 1, 0, 0, 2)}


@pytest.mark.parametrize(
    ("feed", "text", "told"),
    [
        ("units", UNITS + "A,NOPE,2024-01-02,\n", ("model", "NOPE", "unknown_model")),
        (
            "treatment_purchases",
            "order,line,ordered_on,product,quantity,condition,seller,site\n"
            "A,1,2024-01-02,sk,1,new,S,K\n",
            ("product", "sk", "unknown_product"),
        ),
        (
            "service_calls",
            CALLS + "1,,A,repair,2024-01-02,FIRE\n",
            ("cause", "FIRE", "unknown_cause"),
        ),
        (
            "service_calls",
            CALLS + "1,C9,A,delime,2024-01-02,\n",
            ("claim", "C9", "claim_on_repair"),
        ),
    ],
)
def test_what_no_reference_file_has_is_set_aside(desk, feed, text, told):
    """Column, value and rule name what is unknown, or the claim on a call that is no repair."""
    done = desk.account(feed, {f"{feed}.csv": text})
    assert done.set_aside.select("file", "line", "column", "value", "rule").rows() == [
        (f"{feed}.csv", 2, *told)
    ]
    assert counts(done) == {f"{feed}.csv": (1, 0, 0, 0, 1)}


def test_a_cause_or_product_that_is_empty_is_no_unknown_one(desk):
    """Optional codes may be missing."""
    done = desk.account("service_calls", {"c.csv": CALLS + "1,,A,repair,2024-01-02,\n"})
    assert done.records.height == 1


def test_a_claim_number_stands_on_the_earliest_repair_call(desk):
    """By the day opened, then by call; the later call is set aside with its reason."""
    text = (
        CALLS
        + "9,C1,A,repair,2024-01-02,\n2,C1,A,repair,2024-01-03,\n"
        + "1,C2,A,repair,2024-01-03,\n0,C2,A,repair,2024-01-03,\n"
    )
    done = desk.account("service_calls", {"c.csv": text})
    assert done.records.select("call", "claim").rows() == [("0", "C2"), ("9", "C1")]
    assert done.set_aside.select("line", "column", "value", "rule").rows() == [
        (3, "claim", "C1", "claim_once"),
        (4, "claim", "C2", "claim_once"),
    ]


def test_a_superseded_version_holds_no_claim_number(desk):
    """A call whose correction drops the claim leaves it to another call."""
    text = CALLS + "1,C1,A,repair,2024-01-01,\n1,,A,repair,2024-01-01,\n2,C1,A,repair,2024-01-02,\n"
    done = desk.account("service_calls", {"c.csv": text})
    assert done.records.select("call", "claim").rows() == [("1", None), ("2", "C1")]
    assert done.set_aside.is_empty()


def test_an_older_version_comes_back_where_the_newer_loses_its_claim(desk):
    """Call 1 holds the claim of call 2's newer version, so the older one is the record."""
    text = CALLS + "1,C1,A,repair,2024-01-01,\n2,,A,repair,2024-01-02,\n2,C1,A,repair,2024-01-02,\n"
    done = desk.account("service_calls", {"c.csv": text})
    assert fates(done) == {
        ("c.csv", 2): "record",
        ("c.csv", 3): "record",
        ("c.csv", 4): "set_aside",
    }


def test_a_version_that_comes_back_may_take_a_claim_from_another_call(desk):
    """The rounds go on until every claim stands once, on its earliest call."""
    text = CALLS + (
        "1,C1,A,repair,2024-01-01,\n"
        "2,C2,A,repair,2024-01-02,\n"
        "2,C1,A,repair,2024-01-02,\n"
        "3,,A,repair,2024-01-03,\n"
        "3,C2,A,repair,2024-01-03,\n"
    )
    done = desk.account("service_calls", {"c.csv": text})
    assert done.records.select("call", "claim").rows() == [("1", "C1"), ("2", "C2"), ("3", None)]
    assert counts(done) == {"c.csv": (5, 3, 0, 0, 2)}


def test_a_copy_of_a_row_that_lost_its_claim_loses_it_too(desk):
    """Once the newer row is set aside, the same row before it stands alone and is judged alike."""
    text = (
        CALLS + "1,C1,A,repair,2024-01-01,\n2,C1,A,repair,2024-01-02,\n2,C1,A,repair,2024-01-02,\n"
    )
    assert counts(desk.account("service_calls", {"c.csv": text})) == {"c.csv": (3, 1, 0, 0, 2)}


def test_a_file_set_aside_whole_counts_its_rows_and_stands_once(desk):
    """The other files go on."""
    files = {"bad.csv": "serial,model\nA,B\nC,D\n", "good.csv": UNITS + "A,SK-2,2024-01-02,\n"}
    done = desk.account("units", files)
    assert counts(done) == {"bad.csv": (2, 0, 0, 0, 2), "good.csv": (1, 1, 0, 0, 0)}
    assert done.set_aside.select("file", "line", "column", "rule").rows() == [
        ("bad.csv", 1, "shipped_on", "missing_column")
    ]


def test_a_feed_without_files_has_empty_records(desk):
    """Every table has its columns, also when nothing came."""
    for feed in ("units", "water_tests", "service_calls", "rulings"):
        done = desk.account(feed, {})
        assert done.records.is_empty()
        assert done.records.schema == record_schema(feed)
        assert done.through_date is None
        assert done.accounts.is_empty()


def test_a_bound_tells_versions_apart(desk):
    """`<0.05` and `ND` are not the same row; `ND` and empty are."""
    head = "sample,site,point,sampled_on,iron_mg_l\n"
    rows = [f"1,K,supply,2024-01-02,{value}\n" for value in ("<0.05", "ND", "", "nd")]
    done = desk.account("water_tests", {"t.csv": head + "".join(rows)})
    assert done.fates.sort("line")["fate"].to_list() == [
        "superseded",
        "duplicate",
        "duplicate",
        "record",
    ]
    assert done.records["iron_mg_l_below"].to_list() == [None]


def test_keys_of_two_columns_do_not_run_together(desk):
    """Order 1 line 11 is not order 11 line 1."""
    head = "order,line,ordered_on,product,quantity,condition,seller,site\n"
    text = head + "1,11,2024-01-02,CLEAR,1,new,S,K\n11,1,2024-01-02,CLEAR,1,new,S,K\n"
    assert desk.account("treatment_purchases", {"p.csv": text}).records.height == 2


def test_records_pass_their_pandera_class(desk):
    """What comes out is what the schema promises, sorted by key."""
    from schemas.feeds import FEED_TABLES

    text = UNITS + "B,SK-2,2024-01-02,\nA,BE-3,2024-01-02,\n"
    records = desk.account("units", {"u.csv": text}).records
    FEED_TABLES["units"].validate(
        records.select(pl.exclude("source_file", "source_line", "source_sheet"))
    )
    assert records["serial"].to_list() == ["A", "B"]


def test_a_row_tells_what_could_not_be_read_and_what_is_not_known(desk):
    """Feeds: a row with several reasons stands in `set_aside` once for each."""
    units = "serial,model,shipped_on,purchased_on\nA1,NOPE,2025-12-01,2025-13-01\n"
    units += "A2,SK-2,2025-12-01,2025-13-01\nA3,,2025-13-01,\n"
    calls = "call,claim,serial,kind,opened_on,cause,parts_amount\n"
    calls += "K1,W1,A1,delime,2025-01-02,NOPE,-5\nK2,W2,A1,repair,2025-01-02,SCALE,-5\n"
    for feed, text, expected in (
        (
            "units",
            units,
            [
                (2, "model", "unknown_model"),
                (2, "purchased_on", "impossible_date"),
                (3, "purchased_on", "impossible_date"),
                (4, "model", "required"),
                (4, "shipped_on", "impossible_date"),
            ],
        ),
        (
            "service_calls",
            calls,
            [
                (2, "cause", "unknown_cause"),
                (2, "claim", "claim_on_repair"),
                (2, "parts_amount", "negative"),
                (3, "parts_amount", "negative"),
            ],
        ),
    ):
        accounted = desk.account(feed, {"a.csv": text})
        reasons = accounted.set_aside.select("line", "column", "rule").rows()
        assert reasons == expected
        lines = len({line for line, *_ in expected})
        assert accounted.accounts["set_aside"].to_list() == [lines]


def test_a_call_whose_claim_is_held_twice_tells_no_through_date(desk):
    """Feeds: the latest date by which the file's records are seen; what is set aside is none."""
    head = "call,claim,serial,kind,opened_on\n"
    once, twice = "K1,X,A,repair,2025-10-01\n", "K2,X,A,repair,2025-12-20\n"
    accounted = desk.account("service_calls", {"a.csv": head + once + twice})
    assert accounted.set_aside["rule"].to_list() == ["claim_once"]
    assert accounted.accounts["through_date"].to_list() == [dt.date(2025, 10, 1)]
    assert accounted.through_date == dt.date(2025, 10, 1)


def test_rows_rank_by_file_then_sheet_then_line():
    """A later through date wins, then the later sheet of a workbook, then the later line."""
    rows = pl.DataFrame(
        {
            "source_file": ["w.xlsx", "w.xlsx", "w.xlsx", "old.csv", "../desk"],
            "source_sheet": ["One", "Two", "One", "", ""],
            "source_line": [9, 2, 5, 99, 999],
            "source_part": [1, 1, 1, 1, 1],
        }
    )
    through = pl.DataFrame(
        {
            "file": ["w.xlsx", "w.xlsx", "old.csv", "../desk"],
            "sheet": ["One", "Two", "", ""],
            "place": [0, 1, 0, 0],
            "joined_as": ["", "", "", ""],
            "through_date": [DAY(2026, 1, 2), DAY(2026, 1, 2), DAY(2026, 1, 1), None],
        },
        schema_overrides={"through_date": pl.Date, "place": pl.Int64},
    )
    best_last = rows.with_columns(rank_of(rows, through)).sort(RANK)
    assert best_last.select("source_file", "source_sheet", "source_line").rows() == [
        ("../desk", "", 999),
        ("old.csv", "", 99),
        ("w.xlsx", "One", 5),
        ("w.xlsx", "One", 9),
        ("w.xlsx", "Two", 2),
    ]
    book = rows.filter(pl.col("source_sheet") != "")
    of_book = through.filter(pl.col("sheet") != "")
    best_last = book.with_columns(rank_of(book, of_book)).sort(RANK)
    assert best_last["source_line"].to_list() == [5, 9, 2]


def test_a_sample_in_both_layouts_is_that_of_the_later_row():
    """The last long row counts against the wide one; a sample of one layout stays as it is."""
    rows = [
        ("S1", None, 5, "record", "superseded"),
        ("S1", "ph", 7, "record", "record"),
        ("S1", "silica_mg_l", 4, "record", "record"),
        ("S2", None, 1, "record", "record"),
        ("S3", "ph", 2, "record", "record"),
        ("S4", None, 9, "record", "record"),
        ("S4", "ph", 8, "record", "superseded"),
        ("S4", "silica_mg_l", 3, "duplicate", "duplicate"),
        # Only what is a record counts, however late a row that is none.
        ("S5", None, 6, "record", "record"),
        ("S5", "ph", 5, "record", "superseded"),
        ("S5", "ph", 11, "duplicate", "duplicate"),
    ]
    names = ("sample", "analyte", RANK, "fate", "expected")
    told = pl.DataFrame(rows, schema=names, orient="row")
    assert one_layout(told, told["fate"]).to_list() == told["expected"].to_list()
