"""A file's bytes as UTF-8, whatever it is encoded in.

Belongs here: telling the encoding, decided on the whole file. Does not belong here: rows.

Bytes that the encoding does not define become `UNDECODABLE`: a NUL, which sets a row aside anyway,
and the replacement character.
"""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from dataclasses import dataclass

UNDECODABLE = "\0\ufffd".encode()
_PIECE = 16 << 20
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


@dataclass(frozen=True)
class Text:
    """`data` holds UTF-8 from `start` on."""

    data: bytes
    start: int
    encoding: str


def to_utf8(raw: bytes) -> Text:
    """The text of a file: UTF-8 with or without a mark, UTF-16 with one, else Windows-1252.

    A file that is UTF-8 but for its cut-off last character is UTF-8, if other characters beyond
    ASCII show that it is.
    """
    for mark, encoding in _MARKS:
        if raw.startswith(mark):
            if encoding == "utf-8-sig":
                if _first_fault(raw) is None:
                    return Text(raw, len(mark), encoding)
                return Text(_recode(raw, len(mark), "utf-8"), 0, encoding)
            return Text(_recode(raw, len(mark), encoding), 0, encoding)
    fault = _first_fault(raw)
    if fault is None:
        return Text(raw, 0, "utf-8")
    position, is_cut_off = fault
    if is_cut_off and not raw[:position].isascii():
        return Text(raw[:position] + UNDECODABLE, 0, "utf-8")
    return Text(_recode(raw, 0, "cp1252"), 0, "cp1252")


def _first_fault(raw: bytes) -> tuple[int, bool] | None:
    """Where the first byte stands that is no UTF-8, and whether the file only ends too early."""
    if raw.isascii():
        return None
    at = 0
    while at < len(raw):
        piece = raw[at : at + _PIECE]
        is_last = at + len(piece) == len(raw)
        try:
            at += codecs.utf_8_decode(piece, "strict", is_last)[1]
        except UnicodeDecodeError as error:
            return at + error.start, is_last and error.reason == "unexpected end of data"
    return None


def _recode(raw: bytes, start: int, encoding: str) -> bytes:
    return b"".join(_recoded_pieces(raw, start, encoding))


def _recoded_pieces(raw: bytes, start: int, encoding: str) -> Iterator[bytes]:
    decoder = codecs.getincrementaldecoder(encoding)("mark_undecodable")
    for at in range(start, len(raw), _PIECE):
        yield decoder.decode(raw[at : at + _PIECE]).encode()
    yield decoder.decode(b"", final=True).encode()


def _mark(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeDecodeError):
        raise error
    return UNDECODABLE.decode(), error.end


codecs.register_error("mark_undecodable", _mark)
