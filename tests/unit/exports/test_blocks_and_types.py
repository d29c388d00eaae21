"""Where blocks of text end, when fields are trimmed, and what types cells of a workbook have."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise

import polars as pl
import pytest

from pipelines.exports.cells import _cell_text, _cell_type
from pipelines.exports.encodings import to_utf8
from pipelines.exports.header_lines import _header_at
from pipelines.exports.line_blocks import _has_soft_edges
from pipelines.exports.text_rows import _block_end

TEXT = b"ab\ncd\r\nef\rgh"  # lines begin at 0, 3, 7 and 10


@pytest.mark.parametrize(
    ("start", "size", "end"),
    [
        (0, 1, 3),  # no line ends so soon: the first that does
        (0, 3, 3),
        (0, 4, 3),
        (0, 5, 3),
        (0, 6, 7),  # between CR and LF no line ends
        (0, 7, 7),
        (0, 9, 7),
        (0, 10, 10),
        (3, 3, 7),
        (7, 1, 10),
        (0, 11, 10),
        (0, 12, 12),
        (0, 99, 12),
        (10, 1, 12),
    ],
)
def test_a_block_ends_with_a_line(start: int, size: int, end: int) -> None:
    """The last line that ends within it; CR and LF together are one end."""
    assert _block_end(TEXT, start, size) == end


def test_blocks_one_after_another_are_the_text() -> None:
    """Whatever their size, nothing is left out or read twice."""
    for size in range(1, 14):
        start, pieces = 0, []
        while start < len(TEXT):
            end = _block_end(TEXT, start, size)
            pieces.append(TEXT[start:end])
            start = end
        assert b"".join(pieces) == TEXT
        assert all(piece[-1:] in b"\r\n" for piece in pieces[:-1])
        assert not [
            one for one, other in pairwise(pieces) if (one[-1:], other[:1]) == (b"\r", b"\n")
        ]


@pytest.mark.parametrize(
    ("piece", "delimiter", "soft"),
    [
        (b"a,b\nc,d\n", ",", False),
        (b" a,b\n", ",", True),
        (b"a ,b\n", ",", True),
        (b"a, b\n", ",", True),
        (b"a,b \n", ",", True),
        (b"a,b \r\n", ",", True),
        (b"a,b ", ",", True),
        (b"a b,c\n", ",", False),
        (b"a,b\n c\n", ",", True),
        (b"a,\tb\n", ",", True),
        (b"a\tb\n", "\t", False),
        (b'"a"\tb\n', "\t", True),
        (b'"a",b\n', ",", False),
        (b'" a",b\n', ",", True),
        (b"a,\x0bb\n", ",", True),
        ("a,\u00a0b\n".encode(), ",", True),
        ("a,b\u00a0\n".encode(), ",", True),
        ("\u00fca,b\n".encode(), ",", True),  # a byte that may be part of a blank
        ("a\u00fca,b\n".encode(), ",", False),
    ],
)
def test_fields_are_trimmed_where_a_blank_may_stand_at_an_edge(
    piece: bytes, delimiter: str, soft: bool
) -> None:
    """Beside a delimiter, a quote, or an end of a line or of the text."""
    assert _has_soft_edges(piece, delimiter) is soft


@pytest.mark.parametrize(
    ("text", "number", "flag", "day", "kind", "told"),
    [
        ("2025-03-14 00:00:00", None, None, dt.timedelta(days=45_000), "day", "2025-03-14"),
        ("2025-03-14 12:30:00", None, None, dt.timedelta(days=45_000.5), "moment",
         "2025-03-14T12:30:00"),
        ("1899-12-31 12:30:00", None, None, dt.timedelta(hours=12.5), "time", "12:30:00"),
        ("1899-12-31 00:00:00", None, None, dt.timedelta(0), "time", "00:00:00"),
        (" 00:00:00 noon", None, None, dt.timedelta(days=2), "moment", "T00:00:00 noon"),
        ("true", None, True, None, "flag", "true"),
        ("12.5", 12.5, True, None, "number", "12.5"),
        ("1", 1.0, True, None, "number", "1"),
        ("1e-07", 1e-07, True, None, "number", "0.0000001"),
        (" x ", None, None, None, None, "x"),
        (None, None, None, None, None, ""),
    ],
)  # fmt: skip
def test_a_cell_has_the_type_that_the_sheet_gives_it(
    text: str | None, number: float | None, flag: bool | None, day: dt.timedelta | None,
    kind: str | None, told: str,
) -> None:  # fmt: skip
    """A day without a time is a day; less than one day is a time."""
    row = pl.DataFrame(
        {"text": [text], "number": [number], "flag": [flag], "day": [day]},
        schema={"text": pl.String, "number": pl.Float64, "flag": pl.Boolean, "day": pl.Duration},
    )
    row = row.select(_cell_type().alias("type"), pl.all())
    assert row["type"].item() == kind
    assert row.select(_cell_text()).item() == told


@pytest.mark.parametrize(
    ("raw", "text", "encoding"),
    [
        (b"caf\xc3\xa9", "caf\u00e9", "utf-8"),
        (b"\xef\xbb\xbfcaf\xc3\xa9", "caf\u00e9", "utf-8-sig"),
        (b"caf\xe9 au lait", "caf\u00e9 au lait", "cp1252"),
        ("caf\u00e9".encode("utf-16"), "caf\u00e9", None),
    ],
)
def test_a_text_begins_after_its_mark(raw: bytes, text: str, encoding: str | None) -> None:
    """The first letter is never lost, nor is the mark read as one."""
    found = to_utf8(raw)
    assert found.data[found.start :].decode("utf-8") == text
    assert encoding in (None, found.encoding)


def test_a_marked_text_with_a_wrong_byte_keeps_its_first_letter() -> None:
    """What cannot be decoded is told later; all before and after it is read."""
    found = to_utf8(b"\xef\xbb\xbfserial,x\xe9y\n")
    told = found.data[found.start :].decode("utf-8", "replace")
    assert told.startswith("serial,x")
    assert told.endswith("y\n")


@pytest.mark.parametrize(("most", "wide"), [(3, False), (2, True)])
def test_rows_go_on_after_the_header_also_where_it_is_too_wide(most: int, wide: bool) -> None:
    """The next row stands on the next line; more columns than are taken are a fault."""
    data = b"title\na,b,c\n1,2,3\n"
    found = _header_at(data, 6, 2, None, ["a"], most)
    assert (found.line, found.start, found.next_line, found.delimiter) == (2, 6, 3, ",")
    assert (found.fault is not None) is wide
    assert found.row.next_start == 12
