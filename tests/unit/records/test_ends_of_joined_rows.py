"""One end a row of a joined file, where several joins read it, or one sums what it takes."""

from __future__ import annotations

from decimal import Decimal

import pytest

from pipelines.exports import read_rows
from pipelines.records.feed_file import parse_file
from pipelines.records.join_ends import settle
from pipelines.records.join_entries import Join, Made
from pipelines.records.joining import Source, join_files
from pipelines.records.left_out import CellTest, LeaveOut
from pipelines.records.mapping import Mapping
from pipelines.records.numerals import Marks
from pipelines.records.row_cells import Place
from tests.unit.records.conftest import ZONE

CALLS = "call,serial,kind,opened_on\n1,A1,repair,2025-01-01\n"
WITHDRAWN = (LeaveOut("withdrawn", (CellTest("Status", is_=("withdrawn",)),)),)


def source(folder, name, text):
    """A file of a text as it is read."""
    (folder / name).write_text(text, encoding="utf-8")
    return Source(Place(name), read_rows(folder / name))


@pytest.mark.parametrize(
    ("order", "repeat", "status", "end"),
    [
        ("1", "9", "open", "joined"),
        ("9", "1", "open", "joined"),
        ("9", "1", "withdrawn", "joined"),
        ("9", "9", "open", "set aside"),
        ("9", "9", "withdrawn", "set aside"),
    ],
)
def test_the_best_end_of_a_row_counts(tmp_path, order, repeat, status, end):
    """Taken by one join it is joined; left out by one, it is told where the other finds nothing."""
    joins = (
        Join("first", ("claims*",), (("call", "Order"),), leave_out=WITHDRAWN),
        Join("second", ("claims*",), (("call", "Repeat"),)),
    )
    columns = {"claim": "second\0Claim", "notes": "first\0Status"}
    mapping = Mapping("service_calls", "mappings/x.toml", columns=columns, joins=joins)
    calls = source(tmp_path, "calls.csv", CALLS)
    text = f"Order,Repeat,Claim,Status\n{order},{repeat},C1,{status}\n"
    claims = source(tmp_path, "claims.csv", text)
    found = join_files(mapping, [calls], [[claims], [claims]])
    rows = settle(mapping, [(0, 0, claims.reading), (1, 0, claims.reading)], found.ends)
    ends = {
        "joined": rows.joined,
        "duplicates": rows.duplicates,
        "set aside": rows.set_aside["line"].n_unique(),
        "left out": rows.left_out.height,
    }
    assert {name for name, count in ends.items() if count} == {end}
    assert ends[end] == 1


def test_a_sum_is_exact_and_takes_what_counts_alone(tmp_path):
    """1.10 less 0.3 and 7; a kind that is not summed, and an order that is not there, are told."""
    made = Made("amount", "Amount", (("Type", ("MAT", "LAB")),), True)
    joins = (Join("line", ("lines*",), (("call", "Order"),), made=(made,)),)
    columns = {"parts_amount": "line\0amount"}
    mapping = Mapping("service_calls", "mappings/x.toml", columns=columns, joins=joins)
    calls = source(tmp_path, "calls.csv", CALLS)
    text = "Order,Type,Amount\n1,MAT,1.10\n1,LAB,-0.3\n1,mat,7\n1,TXT,5\n2,MAT,3\n"
    lines = source(tmp_path, "lines.csv", text)
    found = join_files(mapping, [calls], [[lines]])
    parsed = parse_file("service_calls", found.readings[0], mapping, ZONE, calls.place)
    assert parsed.rows["parts_amount"].to_list() == [Decimal("7.80")]
    rows = settle(mapping, [(0, 0, lines.reading)], found.ends)
    assert (rows.joined, rows.duplicates, rows.left_out.height) == (3, 0, 0)
    assert rows.set_aside.select("line", "rule").sort("line").rows() == [
        (5, "joined_nowhere"),
        (6, "joins_nothing"),
    ]


@pytest.mark.parametrize(
    ("decimal", "written", "way"),
    [
        (".", "774,29", 'name its decimal mark in the join, decimal = ","'),
        (".", "-1.774,29", 'name its decimal mark in the join, decimal = ","'),
        (".", "1,774", 'name its decimal mark in the join, decimal = ","'),
        (",", "774.29", 'name its decimal mark in the join, decimal = "."'),
        (".", "free", "correct it at the source"),
    ],
)
def test_a_number_that_another_mark_reads_says_which(tmp_path, decimal, written, way):
    """Correcting every amount of an export at its source would be no way out."""
    marks = Marks(decimal)
    made = (Made("parts", "Net", (), True),)
    join = Join("line", ("lines*",), (("call", "Call"),), marks=marks, made=made)
    columns = {"parts_amount": "line\0parts"}
    mapping = Mapping(
        "service_calls", "mappings/x.toml", marks=marks, columns=columns, joins=(join,)
    )
    calls = source(tmp_path, "calls.csv", CALLS)
    lines = source(tmp_path, "lines.csv", f"Call;Net\n1;{written}\n")
    found = join_files(mapping, [calls], [[lines]])
    ((column, value, reason),) = (
        settle(mapping, [(0, 0, lines.reading)], found.ends)
        .set_aside.select("column", "value", "reason")
        .rows()
    )
    assert (column, value) == ("parts_amount", written)
    assert way in reason
    assert ("source" in reason) == (written == "free")


def test_rows_that_joins_set_aside_tell_their_codes_all_the_same(tmp_path):
    """Whoever lists codes hears of every row, whatever became of it."""
    join = Join("claim", ("claims*",), (("call", "Order"),))
    columns = {"claim": "claim\0Claim"}
    mapping = Mapping("service_calls", "mappings/x.toml", columns=columns, joins=(join,))
    head = "call,serial,kind,opened_on,agency\n"
    calls = source(
        tmp_path,
        "calls.csv",
        head + "1,A1,repair,2025-01-01,NORTH\n2,A1,bogus,2025-01-02,SOUTH\n"
        "3,A1,repair,2025-01-03,EAST\n",
    )
    claims = source(tmp_path, "claims.csv", "Order,Claim\n1,C1\n1,C2\n3,C3\n")
    found = join_files(mapping, [calls], [[claims]])
    parsed = parse_file(
        "service_calls", found.readings[0], mapping, ZONE, calls.place, found.not_joined[0]
    )
    assert parsed.rows["agency"].to_list() == ["EAST"]
    assert sorted(parsed.unsound["agency"]) == ["NORTH", "SOUTH"]
    assert parsed.rows_read == parsed.rows.height + parsed.set_aside["line"].n_unique()
