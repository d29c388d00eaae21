"""Row accounting of random feeds in several files: no row is lost, and no order shows."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.exports import read_rows, through_date_in_name
from pipelines.records.accounting import account, gather
from pipelines.records.cross_checks import References
from pipelines.records.feed_file import parse_file
from pipelines.records.mapping import Mapping
from tests.drawn import examples

REFERENCES = References(pl.Series(["SK-2"]), pl.Series(["CLEAR"]), pl.Series(["SCALE"]))
HEADER = "call,claim,serial,kind,opened_on,cause"
NAMES = ["a.csv", "b.csv", "z/a.csv", "c_2025-01-03.csv", "d_2025-01-02.csv"]

_CALLS = st.tuples(
    st.sampled_from(["1", "2", "3", " 3 ", ""]),
    st.sampled_from(["", "", "C1", "C2"]),
    st.sampled_from(["A-1", "a1", "B2", ""]),
    st.sampled_from(["repair", "REPAIR", "delime", "mend"]),
    st.sampled_from(["2025-01-01", "2025-01-02", "2025-01-04T08:00", "31/02/2025"]),
    st.sampled_from(["", "SCALE", "UNKNOWN"]),
).map(",".join)
_BROKEN = st.sampled_from(
    ["", ",,,,,", "1,C1", '1,"C1,A,repair', '"1"x,,A1,repair,,', "\0,,,,,", "1,,,,,,,"]
)
_FEEDS = st.dictionaries(
    st.sampled_from(NAMES), st.lists(st.one_of(_CALLS, _CALLS, _CALLS, _BROKEN), max_size=7),
    min_size=1, max_size=4,
)  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    """A folder whose one file every example writes anew."""
    return tmp_path_factory.mktemp("accounting")


def parsed(folder: Path, name: str, rows: list[str]):
    """What one file says, with the date in its name."""
    path = folder / "calls.csv"
    path.write_text("\n".join([HEADER, *rows]) + "\n", encoding="utf-8", newline="")
    file = parse_file(
        "service_calls", read_rows(path), Mapping.plain("service_calls"), "America/Denver"
    )
    return through_date_in_name(name), file


def _without_claim(row: str) -> str:
    fields = row.split(",")
    return ",".join([fields[0], "", *fields[2:]]) if len(fields) == 6 else row


def settled(files):
    """The state of the feed after the files, in the order given."""
    return account("service_calls", *gather(files), REFERENCES)


def plain_winners(files) -> dict[str, tuple[str, int]]:
    """By call, the place of the row that wins while no claim number is about: one by one."""
    best: dict[str, tuple] = {}
    for name, (named, file) in files.items():
        rows = file.rows.filter(
            (pl.col("cause").is_null() | (pl.col("cause") == "SCALE"))
            & (pl.col("claim").is_null() | (pl.col("kind") == "repair"))
        )
        through = named or rows["opened_on"].max() or dt.date.min
        for call, line in rows.select("call", "source_line").iter_rows():
            rank = (through, name.rpartition("/")[2], name, line)
            best[call] = max(best.get(call, rank), rank)
    return {call: (rank[2], rank[3]) for call, rank in best.items()}


@settings(max_examples=examples(40), deadline=None)
@given(contents=_FEEDS, data=st.data())
def test_the_four_ends_add_up_and_no_order_shows(folder, contents, data):
    """Every row read ends once; files in another order, or read again, give the same state."""
    files = {name: parsed(folder, name, rows) for name, rows in contents.items()}
    first = settled(files)
    ends = pl.sum_horizontal("records", "superseded", "duplicates", "set_aside")
    assert first.accounts.filter(ends != pl.col("rows_read")).is_empty()
    assert first.accounts["records"].sum() == first.records.height
    assert first.accounts.select(pl.col("set_aside").min()).item() >= 0
    for name, rows in contents.items():
        read = first.accounts.filter(pl.col("file") == name)["rows_read"].item()
        assert read == sum(row != "" for row in rows)
    told = first.set_aside.select("file", "line").unique()
    by_file = told.group_by("file").len()
    for name, count in by_file.iter_rows():
        assert first.accounts.filter(pl.col("file") == name)["set_aside"].item() == count
    assert first.fates.select("file", "line").is_duplicated().sum() == 0
    assert first.records["call"].is_unique().all()
    again = {
        name: parsed(folder, name, contents[name])
        for name in data.draw(st.permutations(list(contents)))
    }
    second = settled(again)
    assert second.records.equals(first.records)
    assert second.set_aside.equals(first.set_aside)
    assert second.accounts.equals(first.accounts)
    assert second.fates.sort("file", "line").equals(first.fates.sort("file", "line"))


@settings(max_examples=examples(40), deadline=None)
@given(contents=_FEEDS)
def test_the_winner_is_the_one_that_a_plain_loop_finds(folder, contents):
    """Later through date, then file name, then line; where no claim number stands."""
    bare = {name: [_without_claim(row) for row in rows] for name, rows in contents.items()}
    files = {name: parsed(folder, name, rows) for name, rows in bare.items()}
    found = settled(files).records
    got = {
        call: (file, line)
        for call, file, line in found.select("call", "source_file", "source_line").iter_rows()
    }
    assert got == plain_winners(files)


@settings(max_examples=examples(30), deadline=None)
@given(contents=_FEEDS)
def test_a_claim_stands_on_one_repair_call(folder, contents):
    """Whatever the versions, no claim number is held twice or by another kind of call."""
    records = settled({name: parsed(folder, name, rows) for name, rows in contents.items()}).records
    claimed = records.filter(pl.col("claim").is_not_null())
    assert claimed["claim"].is_unique().all()
    assert (claimed["kind"] == "repair").all()
