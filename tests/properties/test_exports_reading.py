"""Reading any bytes: no row is lost, nothing crashes, and the fast way agrees with a slow one."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.exports import read_rows

sys.path.insert(0, str(Path(__file__).parent))
from exports_reference import compare_with_reference

from tests.drawn import examples

_ATOMS = ['"', '""', ",", ",", ";", "\t", "|", "\n", "\n", "\r\n", "\r", " ", "a", "b1", "\0", "é"]
_ATOMS += ['"\n', '\n"', ',"', '",', '"x"', "\u00a0", "\u2028", "\x0b", "\x85", "😀", "ש", "\ufeff"]


@st.composite
def broken_rows(draw):
    """A header of one to four names and rows that are mostly as wide, some of them hard."""
    delimiter = draw(st.sampled_from(",;\t|"))
    width = draw(st.integers(1, 4))
    end = st.sampled_from(["\n", "\n", "\n", "\r\n", "\r", "\n\n"])
    easy = st.sampled_from(["", "x", "yy", " z ", '"q"', '"q""r"', f'"{delimiter}"', '3/4"', '""'])
    hard = st.lists(st.sampled_from(_ATOMS), max_size=5).map("".join)
    rows = draw(
        st.lists(
            st.tuples(
                st.lists(
                    st.one_of(easy, easy, easy, hard),
                    min_size=max(1, width - draw(st.integers(0, 1))),
                    max_size=width + draw(st.integers(0, 1)),
                ),
                end,
            ),
            max_size=8,
        )
    )
    header = delimiter.join(f"h{index}" for index in range(width))
    body = "".join(delimiter.join(fields) + end for fields, end in rows)
    tail = draw(st.sampled_from(["", "", delimiter.join("t" * width), "t", '"t']))
    return delimiter, width, header + draw(end), body + tail


@pytest.fixture(scope="module")
def path(tmp_path_factory) -> Path:
    """One file that every example writes anew."""
    return tmp_path_factory.mktemp("exports") / "units.csv"


@settings(max_examples=examples(700), deadline=None)
@given(case=broken_rows(), block_bytes=st.sampled_from([7, 40, 1 << 20]))
def test_fast_reader_agrees_with_slow_one(path, case, block_bytes):
    """The block reader and a reader that walks over the characters find the same rows."""
    compare_with_reference(path, *case, block_bytes)


@settings(max_examples=examples(400), deadline=None)
@given(
    head=st.sampled_from([b"", b"a,b\n", b"\xef\xbb\xbfa;b\r\n", b"\xff\xfe", b"\xfe\xff\0a\0,"]),
    body=st.one_of(
        st.binary(max_size=60),
        st.lists(st.sampled_from([a.encode() for a in _ATOMS] + [b"\x81", b"\xe9"])).map(b"".join),
    ),
    allowed=st.sampled_from([None, 3]),
)
def test_any_bytes_are_read_and_accounted_for(path, head, body, allowed):
    """Whatever the bytes, every row is sound or set aside, and never both."""
    path.write_bytes(head + body)
    reading = read_rows(path, max_field_chars=allowed, block_bytes=16)
    aside = set(reading.faults["line"])
    if reading.fault is None:
        assert reading.rows_read == reading.rows.height + len(aside)
    assert not aside & set(reading.rows["line"])
    assert reading.rows["line"].is_unique().all()
    assert reading.rows.drop_nulls().height == reading.rows.height
    assert set(reading.faults["rule"]) <= {
        "too_few_fields",
        "too_many_fields",
        "cut_off_line",
        "text_after_quote",
        "unclosed_quote",
        "nul_byte",
        "undecodable_byte",
        "field_too_long",
    }
    assert not reading.rows["raw"].str.contains("\0", literal=True).any()
