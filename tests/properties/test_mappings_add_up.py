"""Random exports under random mappings: every row ends once, and nothing is invented."""

from __future__ import annotations

import tempfile
from pathlib import Path

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.exports import read_rows
from pipelines.records.accounting import ENDS, account, gather
from pipelines.records.cross_checks import References
from pipelines.records.feed_file import parse_file
from pipelines.records.left_out import CellTest, LeaveOut
from pipelines.records.mapping import Mapping
from pipelines.records.numerals import Marks
from pipelines.records.steps import Step, changed
from tests.drawn import examples

REFERENCES = References(pl.Series(["SK-2"]), pl.Series(["CLEAR"]), pl.Series(["SCALE"]))
HEADER = "call,serial,kind,opened_on,cause"

_ROWS = st.lists(
    st.one_of(
        st.tuples(
            st.sampled_from(["1", "2", "3", ""]),
            st.sampled_from(["A1;B2", "A1", ";", "B2;;A1;C3", ""]),
            st.sampled_from(["repair", "delime", "freight"]),
            st.sampled_from(["2025-01-01", "2025-01-02", "soon"]),
            st.sampled_from(["", "SCALE", "OTHER"]),
        ).map(",".join),
        st.sampled_from(["Total", "Total,5", ",,,,,,", "", '1,"A']),
    ),
    max_size=8,
)
_LEAVE_OUT = st.lists(
    st.sampled_from(
        [
            LeaveOut("freight", (CellTest("kind", is_=("freight",)),)),
            LeaveOut("totals", first_cell=("total*",)),
            LeaveOut("empty", (CellTest("cause", empty=True), CellTest("call", is_not=("1",)))),
        ]
    ),
    max_size=3,
).map(tuple)
_TRANSFORMS = st.sampled_from(
    [
        {},
        {"serial": (Step("split", (";",)),)},
        {"serial": (Step("split", (";",)), Step("pad", 4))},
        {"cause": (Step("empty", ("other",)), Step("key", True))},
    ]
)
_MAPPINGS = st.builds(
    lambda left, steps, numbered: Mapping(
        "service_calls",
        "mappings/x.toml",
        leave_out=left,
        transforms=steps,
        columns={"call": "#line"} if numbered else {},
    ),
    _LEAVE_OUT,
    _TRANSFORMS,
    st.booleans(),
)


def parsed(mapping, rows):
    """One file under one mapping."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "calls.csv"
        path.write_text("\n".join([HEADER, *rows]) + "\n", encoding="utf-8")
        reading = read_rows(path)
    return reading, parse_file("service_calls", reading, mapping, "America/Denver")


@settings(max_examples=examples(60))
@given(files=st.lists(st.tuples(_MAPPINGS, _ROWS), min_size=1, max_size=3), data=st.data())
def test_every_row_ends_once_under_any_mapping(files, data):
    """Read and added rows are the sum of the ends; what is set aside is counted another way too."""
    read = {f"{n}.csv": parsed(*file) for n, file in enumerate(files)}
    done = account(
        "service_calls", *gather({n: (None, one) for n, (_, one) in read.items()}), REFERENCES
    )
    ends = pl.sum_horizontal(ENDS)
    assert done.accounts.filter(ends != pl.col("rows_read") + pl.col("rows_split")).is_empty()
    for name, (reading, one) in read.items():
        counts = done.accounts.row(by_predicate=pl.col("file") == name, named=True)
        assert counts["rows_read"] == reading.rows_read
        assert counts["left_out"] == one.left_out["line"].n_unique()
        # By fates: the typed rows, and those that were never typed, by their reasons' lines.
        of_file = done.fates.filter(pl.col("file") == name)
        assert of_file.select("line", "part").is_duplicated().sum() == 0
        typed = of_file.filter(pl.col("fate") != "set_aside").height
        assert typed == counts["records"] + counts["superseded"] + counts["duplicates"]
        lines = set(done.set_aside.filter(pl.col("file") == name)["line"])
        assert (counts["set_aside"] > 0) == bool(lines)
        assert not lines & set(one.left_out["line"])
    order = data.draw(st.permutations(list(read)))
    again = account("service_calls", *gather({n: (None, read[n][1]) for n in order}), REFERENCES)
    assert again.records.equals(done.records)
    assert again.accounts.equals(done.accounts)
    assert again.set_aside.sort(pl.all()).equals(done.set_aside.sort(pl.all()))


_STEPS = st.lists(
    st.sampled_from(
        [
            Step("before", ";"),
            Step("after", "-"),
            Step("extract", "[0-9]+"),
            Step("remove", ("x", "y")),
            Step("strip_zeros", True),
            Step("upper", True),
            Step("trailing_minus", True),
            Step("empty", ("n/a",)),
        ]
    ),
    max_size=4,
).map(tuple)


@settings(max_examples=examples(150))
@given(
    text=st.one_of(
        st.none(),  # cells come without blanks around them, and null where nothing is left
        st.text(alphabet="0aXy;-n/. ,5", min_size=1, max_size=9).map(str.strip).filter(bool),
    ),
    steps=_STEPS,
)
def test_steps_that_cut_and_move_invent_no_sign(text, steps):
    """An empty cell stays empty; all that is left stood there before, in any case."""
    frame = pl.DataFrame({"text": [text]}, schema={"text": pl.String})
    after = frame.select(changed(pl.col("text"), steps, Marks()).alias("text")).item()
    if text is None:
        assert after is None
    elif after is not None:
        assert after == after.strip() != ""
        for sign in after.upper():
            assert after.upper().count(sign) <= text.upper().count(sign)
