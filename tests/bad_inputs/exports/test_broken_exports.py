"""One small broken file a mistake: what is set aside, on which line, and with what words."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines.exports import read_rows
from pipelines.exports.reading import Reading


@pytest.fixture
def read(tmp_path):
    """Reads bytes, or text as UTF-8, as one file."""

    def call(content: bytes | str, **options) -> Reading:
        path = tmp_path / "units.csv"
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return read_rows(path, **options)

    return call


def faults(reading: Reading) -> list[tuple]:
    """(line, column index, value, rule) of every fault."""
    return reading.faults.drop("reason").rows()


def sound(reading: Reading) -> list[int]:
    """The lines of the sound rows."""
    return reading.rows["line"].to_list()


def words(reading: Reading) -> str:
    """The one sentence that the file's only fault gives."""
    (reason,) = reading.faults["reason"].to_list()
    return reason


def test_too_few_fields(read):
    """A short row is set aside with both numbers, and the next one is read."""
    reading = read("a,b,c\n1,2\n1,2,3\n")
    assert faults(reading) == [(2, None, "1,2", "too_few_fields")]
    assert "The row has 2 fields where the header has 3" in words(reading)
    assert (sound(reading), reading.rows_read) == ([3], 2)


def test_too_many_fields(read):
    """A long row is set aside, also one whose surplus is empty."""
    reading = read("a,b\n1,2,\n3,4\n5,6,7\n")
    assert faults(reading) == [
        (2, None, "1,2,", "too_many_fields"),
        (4, None, "5,6,7", "too_many_fields"),
    ]
    assert "The row has 3 fields where the header has 2" in reading.faults["reason"][0]
    assert (sound(reading), reading.rows_read) == ([3], 3)


def test_line_of_blanks_is_a_short_row(read):
    """Blanks are not nothing: a line that holds only them is a row, and a short one."""
    reading = read("a,b\n  \n1,2\n")
    assert faults(reading) == [(2, None, "  ", "too_few_fields")]
    assert "The row has 1 field where the header has 2" in words(reading)


def test_cut_off_last_line(read):
    """A last line that lacks fields and its end tells that the file was cut off."""
    reading = read("a,b,c\n1,2,3\n4,5")
    assert faults(reading) == [(3, None, "4,5", "cut_off_line")]
    assert "The last line has 2 fields where the header has 3, and no line end" in words(reading)
    assert "the file was cut off" in words(reading)
    assert (sound(reading), reading.rows_read) == ([2], 2)


def test_short_last_line_with_its_end_is_not_cut_off(read):
    """With its line end a short last line is only short."""
    assert faults(read("a,b,c\n4,5\r")) == [(2, None, "4,5", "too_few_fields")]


def test_last_line_cut_off_inside_quotes(read):
    """A file that ends inside quotes was cut off there."""
    reading = read('a,b\n1,2\n3,"unfinis')
    assert faults(reading) == [(3, 1, '"unfinis', "cut_off_line")]
    assert "The last line ends inside the quotes of field 2" in words(reading)


def test_text_after_a_closing_quote(read):
    """Text behind a closing quote sets aside the row and names the field."""
    reading = read('a,b,c\n1,"two" and,3\n4,5,6\n')
    assert faults(reading) == [(2, 1, '"two" and', "text_after_quote")]
    assert "Text follows the closing quote of field 2" in words(reading)
    assert sound(reading) == [3]


def test_text_after_a_closing_quote_on_a_later_line(read):
    """The row with a quoted line break stays one row."""
    reading = read('a,b,c\n1,"two\nlines" and,3\n4,5,6\n')
    assert faults(reading) == [(2, 1, '"two\nlines" and', "text_after_quote")]
    assert (sound(reading), reading.rows_read) == ([4], 2)


def test_row_goes_on_after_text_behind_a_quote(read):
    """A later field of the row may still hold a quoted line break."""
    reading = read('a,b,c\n1,"x"y,"two\nlines"\n4,5,6\n')
    assert faults(reading) == [(2, 1, '"x"y', "text_after_quote")]
    assert (sound(reading), reading.rows_read) == ([4], 2)


def test_quote_that_is_never_closed(read):
    """Only the line on which it opens is set aside; reading goes on at the next."""
    reading = read('a,b,c\n1,"two,3\n4,5,6\n7,8,9\n')
    assert faults(reading) == [(2, 1, '"two,3', "unclosed_quote")]
    assert "The quote that opens field 2 is never closed" in words(reading)
    assert (sound(reading), reading.rows_read) == ([3, 4], 3)


@pytest.mark.parametrize("later", ['"two",8,9', '7,"x, y",9', '7,8,3/4" pipe', '"7","8","9"'])
def test_quotes_of_later_rows_close_nothing(read, later):
    """A quote that a later whole row needs for itself does not swallow the rows between."""
    reading = read(f'a,b,c\n1,2,"three\n4,5,6\n{later}\n')
    assert faults(reading) == [(2, 2, '"three', "unclosed_quote")]
    assert (sound(reading), reading.rows_read) == ([3, 4], 3)


def test_two_quotes_that_are_never_closed(read):
    """Each sets aside its own line."""
    reading = read('a,b\n1,"two\n3,4\n5,"six\n7,8\n')
    assert [fault[0] for fault in faults(reading)] == [2, 4]
    assert set(reading.faults["rule"]) == {"unclosed_quote"}
    assert (sound(reading), reading.rows_read) == ([3, 5], 4)


def test_quote_that_opens_on_a_later_line_of_a_row(read):
    """The row is set aside on the line where it begins; reading goes on behind the open quote."""
    reading = read('a,b\n"1\n1","two\n3,4\n')
    assert faults(reading) == [(2, 1, '"two', "unclosed_quote")]
    assert (sound(reading), reading.rows_read) == ([4], 2)


def test_nul_byte(read):
    """A NUL sets aside its row, not the file, and is shown as a sign."""
    reading = read(b"a,b\n1,x\0y\n2,z\n")
    assert faults(reading) == [(2, 1, "x␀y", "nul_byte")]
    assert "Field 2 holds a NUL byte" in words(reading)
    assert sound(reading) == [3]


def test_nul_byte_in_a_short_row_gives_two_reasons(read):
    """A row with two faults counts once and stands there once for each."""
    reading = read(b"a,b,c\n1,\0\n2,3,4\n")
    assert faults(reading) == [
        (2, None, "1,␀", "too_few_fields"),
        (2, None, "␀", "nul_byte"),
    ]
    assert reading.rows_read == 2


@pytest.mark.parametrize("byte", [b"\x81", b"\x8d", b"\x8f", b"\x90", b"\x9d"])
def test_byte_that_windows_1252_does_not_define(read, byte):
    """The five bytes without a character set aside their row."""
    reading = read(b"a,b\n1,\xe9" + byte + b"\n2,\xe9\n")
    assert reading.encoding == "cp1252"
    assert faults(reading) == [(2, 1, "é\ufffd", "undecodable_byte")]
    assert "Field 2 holds bytes that Windows-1252 does not define" in words(reading)
    assert reading.rows.row(0)[2:] == ("2", "é")


def test_broken_utf8_behind_a_mark(read):
    """A file that says it is UTF-8 stays UTF-8; the row with other bytes is set aside."""
    reading = read(b"\xef\xbb\xbfa,b\n1,\xff\n2,\xc3\xa9\n")
    assert reading.encoding == "utf-8-sig"
    assert faults(reading) == [(2, 1, "\ufffd", "undecodable_byte")]
    assert "bytes that UTF-8 does not define" in words(reading)
    assert reading.rows.row(0)[2:] == ("2", "é")


def test_broken_utf16(read):
    """Half a character in UTF-16 sets aside its row, in the middle and at the end."""
    text = "a,b\n1,".encode("utf-16-le") + b"\x00\xd8" + "\n2,é\n3,x".encode("utf-16-le") + b"y"
    reading = read(b"\xff\xfe" + text)
    assert faults(reading) == [
        (2, 1, "\ufffd", "undecodable_byte"),
        (4, 1, "x\ufffd", "undecodable_byte"),
    ]
    assert "bytes that UTF-16 does not define" in reading.faults["reason"][0]
    assert sound(reading) == [3]


def test_utf8_cut_off_inside_a_character(read):
    """Other letters show that the file is UTF-8, so only its cut-off row is set aside."""
    reading = read("a,b\n1,é\n2,é".encode()[:-1])
    assert reading.encoding == "utf-8"
    assert faults(reading) == [(3, 1, "\ufffd", "undecodable_byte")]
    assert reading.rows.row(0)[2:] == ("1", "é")


def test_windows_1252_that_ends_with_a_letter_beyond_ascii(read):
    """Without other letters beyond ASCII the last byte is Windows-1252, as any other."""
    reading = read(b"a,b\n1,caf\xe9")
    assert (reading.encoding, reading.rows.row(0)[2:]) == ("cp1252", ("1", "café"))


def test_field_longer_than_the_settings_allow(read):
    """Characters are counted, not bytes, in easy and in hard rows."""
    reading = read('a,b\n1,éééé\n2,éééé5\n3, "éé\néé6" \n4,x\n', max_field_chars=4)
    assert [(line, index, rule) for line, index, _, rule in faults(reading)] == [
        (3, 1, "field_too_long"),
        (4, 1, "field_too_long"),
    ]
    assert (
        "Field 2 has 5 characters, more than the 4 that max_field_chars"
        in (reading.faults["reason"][0])
    )
    assert sound(reading) == [2, 6]


@pytest.mark.parametrize("content", [b"", b"\n\r\n\r", b"\xef\xbb\xbf", b"\xff\xfe", b"  \n\t\n"])
def test_empty_file(read, content):
    """A file without a header is set aside whole, on line 1, and has no rows."""
    reading = read(content)
    assert (reading.fault.rule, reading.fault.line) == ("empty_file", 1)
    assert "The file is empty and has not even a header" in reading.fault.sentence
    assert reading.rows_read == 0


def test_file_larger_than_the_settings_allow(read):
    """A file that is too large is set aside whole, and its rows are counted all the same."""
    reading = read("a,b\r\n1,2\r\n\r\n3,4\r\n5,6", max_file_bytes=10)
    assert reading.fault.rule == "file_too_large"
    assert "The file has 20 bytes, more than the 10 that max_file_mb" in reading.fault.sentence
    assert reading.rows_read == 3
    assert reading.rows.is_empty()


def test_rows_of_a_large_utf16_file_are_counted(read):
    """Lines are counted in UTF-16 too."""
    content = b"\xff\xfe" + "a,b\n1,2\n3,4\n".encode("utf-16-le")
    assert read(content, max_file_bytes=10).rows_read == 2


def test_header_with_an_open_quote(read):
    """A header that cannot be split sets aside the file, with its rows counted."""
    reading = read('a,"b\n1,2\n3,4\n')
    assert (reading.fault.rule, reading.fault.line) == ("header_quote", 1)
    assert "The header on line 1 opens a quote that is never closed in field 2" in (
        reading.fault.sentence
    )
    assert (reading.rows_read, reading.rows.height, reading.faults.height) == (2, 0, 0)


def test_header_with_text_after_a_quote(read):
    """Text behind a closing quote in the header sets aside the file."""
    reading = read('\n"a" x,b\n1,2\n')
    assert (reading.fault.rule, reading.fault.line) == ("header_quote", 2)
    assert "has text after the closing quote in field 1" in reading.fault.sentence


def test_utf16_without_its_mark(read):
    """A header full of NUL bytes sets aside the file and says what it may be."""
    reading = read("a,b\n1,2\n3,4\n".encode("utf-16-le"))
    assert reading.fault.rule == "header_nul"
    assert "full of NUL bytes: the file is UTF-16 without its mark" in reading.fault.sentence
    assert reading.rows.is_empty()


def test_file_that_vanished(tmp_path):
    """A file that cannot be opened is set aside and nothing is raised."""
    reading = read_rows(tmp_path / "gone.csv")
    assert (reading.fault.rule, reading.rows_read) == ("unreadable", 0)
    assert "The file cannot be read (No such file or directory)" in reading.fault.sentence


def test_many_faults_in_one_file(read):
    """Every fault has its own line, also behind quoted line breaks and mixed line ends."""
    reading = read(
        b'a,b,c\r\n1,"x\r\ny",3\r\n4,5\n6,7,8,9\r"t"u,7,8\r\n\r\n9,\0,1\n'
        b'2,"open,3\n4,\xe9,5\n6,\x81,7\n8,"ok",9\n1,2'
    )
    assert [(line, rule) for line, _, _, rule in faults(reading)] == [
        (4, "too_few_fields"),
        (5, "too_many_fields"),
        (6, "text_after_quote"),
        (8, "nul_byte"),
        (9, "unclosed_quote"),
        (11, "undecodable_byte"),
        (13, "cut_off_line"),
    ]
    assert (sound(reading), reading.rows_read) == ([2, 10, 12], 10)


def test_thousands_of_broken_rows_are_quick(read):
    """Faulty rows cost no more than a moment each, whichever their fault."""
    reading = read('a,b\n1,"x\n2,"y" z\n3\n4,\0\n5, "six" \n' * 4000)
    assert reading.rows_read == 4000 * 5 + 3999
    assert reading.rows.height == 4000 + 3999


CORPUS = Path(__file__).parent / "corpus"


@pytest.mark.parametrize(
    ("name", "rows_read", "sound_lines", "rules"),
    [
        ("plain.csv", 2, [2, 3], []),
        ("quoted.csv", 3, [2, 3, 5], []),
        ("stray_quotes.csv", 4, [2, 5], ["text_after_quote", "unclosed_quote"]),
        ("ragged.csv", 5, [2, 5, 7], ["too_few_fields", "too_many_fields"]),
        ("cut_off.csv", 2, [2], ["cut_off_line"]),
        ("nul.csv", 2, [], ["nul_byte", "nul_byte"]),
        ("windows_1252.csv", 2, [2], ["undecodable_byte"]),
        ("utf8_mark.csv", 2, [2], ["undecodable_byte"]),
        ("utf16_le.csv", 2, [2, 3], []),
        ("utf16_be.csv", 1, [2], []),
        ("mixed_ends.csv", 5, [2, 3, 4, 6, 8], []),
        ("empty_lines.csv", 3, [8, 10], ["too_few_fields"]),
        ("letters.csv", 3, [2, 3, 4], []),
    ],
)
def test_file_of_the_corpus(name, rows_read, sound_lines, rules):
    """The seeds of the fuzz run keep their accounts."""
    reading = read_rows(CORPUS / name)
    assert reading.fault is None
    assert reading.rows_read == rows_read
    assert sound(reading) == sound_lines
    assert reading.faults["rule"].to_list() == rules


@pytest.mark.parametrize(
    ("name", "rule"), [("empty.csv", "empty_file"), ("header_quote.csv", "header_quote")]
)
def test_file_of_the_corpus_that_is_set_aside(name, rule):
    """The seeds that are set aside whole keep their rule."""
    assert read_rows(CORPUS / name).fault.rule == rule
