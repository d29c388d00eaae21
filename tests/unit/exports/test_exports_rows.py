"""Sound files of every form: encodings, delimiters, line ends, quotes and lines."""

from __future__ import annotations

import pytest

from pipelines.exports import header_key, read_rows
from pipelines.exports.reading import Reading


@pytest.fixture
def read(tmp_path):
    """Reads bytes, or text as UTF-8, as one file."""

    def call(content: bytes | str, **options) -> Reading:
        path = tmp_path / "units.csv"
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return read_rows(path, **options)

    return call


def rows(reading: Reading) -> list[tuple]:
    """(line, fields …) of the sound rows, once it is sure that there are no others."""
    assert reading.fault is None
    assert reading.faults.is_empty()
    assert reading.rows_read == reading.rows.height
    return reading.rows.drop("raw").rows()


@pytest.mark.parametrize(
    ("content", "encoding"),
    [
        ("site,région\nK1,é😀\n".encode(), "utf-8"),
        ("site,région\nK1,é😀\n".encode("utf-8-sig"), "utf-8-sig"),
        (b"\xff\xfe" + "site,région\nK1,é😀\n".encode("utf-16-le"), "utf-16-le"),
        (b"\xfe\xff" + "site,région\nK1,é😀\n".encode("utf-16-be"), "utf-16-be"),
    ],
)
def test_unicode_encodings_give_the_same_text(read, content, encoding):
    """UTF-8 with and without a mark and UTF-16 with one give the same names and values."""
    reading = read(content)
    assert (reading.encoding, reading.header) == (encoding, ["site", "région"])
    assert rows(reading) == [(2, "K1", "é😀")]


def test_one_late_byte_makes_the_whole_file_windows_1252(read):
    """The encoding is decided on the whole file, however late the byte that tells."""
    content = "site,note\n" + "K1,plain\n" * 300_000 + "K2,5 € at Björn’s\n"
    reading = read(content.encode("cp1252"))
    assert reading.encoding == "cp1252"
    assert reading.rows.row(-1)[2:] == ("K2", "5 € at Björn’s")
    assert reading.rows_read == 300_001


def test_text_that_crosses_a_piece_of_the_decoder_is_whole(read):
    """Characters of several bytes survive wherever the file is cut into pieces for decoding."""
    text = "a\n" + "é😀" * 3_000_000 + "\n"
    assert rows(read(text)) == [(2, "é😀" * 3_000_000)]


@pytest.mark.parametrize("delimiter", list(",;\t|"))
def test_each_delimiter_is_found(read, delimiter):
    """Comma, semicolon, tab and pipe are told from the header."""
    reading = read(f"serial{delimiter}site\nSK1{delimiter}K1\n{delimiter}\n")
    assert reading.delimiter == delimiter
    assert rows(reading) == [(2, "SK1", "K1"), (3, "", "")]


def test_known_names_settle_the_delimiter(read):
    """Names that are expected outweigh a greater number of pieces."""
    top = "serial;model, type, size, colour;site\nSK1;a;K1\n"
    assert read(top).delimiter == ","
    reading = read(top, known_names=["serial", "site"])
    assert (reading.delimiter, reading.header) == (
        ";",
        ["serial", "model, type, size, colour", "site"],
    )


def test_quoted_header_names_do_not_mislead(read):
    """A delimiter inside the quotes of a header name counts for nothing."""
    reading = read('"Name, first, last";"a ""b"""\n1;2\n')
    assert (reading.delimiter, reading.header) == (";", ["Name, first, last", 'a "b"'])


def test_directive_line_names_the_delimiter(read):
    """A line `sep=;` before the header is the delimiter's, not a row."""
    reading = read("sep=;\nserial;a,b,c\nSK1;x\n")
    assert (reading.delimiter, reading.header_line) == (";", 2)
    assert rows(reading) == [(3, "SK1", "x")]


def test_header_is_kept_as_typed(read):
    """Names are trimmed and otherwise kept, also empty and repeated ones."""
    reading = read(" Serial No. ,site,site,,\n1,2,3,4,5\n")
    assert reading.header == ["Serial No.", "site", "site", "", ""]
    assert rows(reading) == [(2, "1", "2", "3", "4", "5")]


def test_header_over_two_lines(read):
    """A line break inside the quotes of a header name moves the rows' lines."""
    reading = read('\n"serial\nno",site\nSK1,K1\n')
    assert (reading.header, reading.header_line) == (["serial\nno", "site"], 2)
    assert rows(reading) == [(4, "SK1", "K1")]


def test_header_alone_is_fine(read):
    """A file without rows is no fault, with and without an end of its line."""
    for content in ("serial,site", "serial,site\r\n", "serial,site\n\n\n"):
        reading = read(content)
        assert rows(reading) == []
        assert reading.rows.columns == ["line", "raw", "c0", "c1"]


def test_mixed_line_ends_number_lines_as_an_editor_does(read):
    """CRLF, LF and CR each end one line, in any mixture; CR CRLF ends two."""
    reading = read("a,b\r\n1,2\n3,4\r5,6\r\r\n7,8\n\r9,0")
    assert rows(reading) == [
        (2, "1", "2"),
        (3, "3", "4"),
        (4, "5", "6"),
        (6, "7", "8"),
        (8, "9", "0"),
    ]


def test_only_cr_and_lf_end_a_line(read):
    """Form feeds, vertical tabs and Unicode's line separators are text."""
    odd = "x\x0by\x0cz\x1c\x85\u2028\u2029w"
    assert rows(read(f"a,b\n1,{odd}\n2,y\n")) == [(2, "1", odd), (3, "2", "y")]


def test_empty_lines_are_no_rows_but_delimiters_alone_are(read):
    """An empty line only counts as a line; one of delimiters alone is a row."""
    reading = read("a,b,c\n\n,,\n\r\n1,2,3\n")
    assert rows(reading) == [(3, "", "", ""), (5, "1", "2", "3")]


def test_last_line_needs_no_end(read):
    """A last line whose fields are complete is a row without a line end, also when quoted."""
    assert rows(read("a,b\n1,")) == [(2, "1", "")]
    assert rows(read('a,b\n1,"2"')) == [(2, "1", "2")]


def test_quoted_line_breaks_are_one_row(read):
    """A row is on the line where it begins, and later rows count the lines inside."""
    reading = read('a,b\n1,"x\r\ny\n\nz"\n2,y\n"3\n",4\n5,6\n')
    assert rows(reading) == [(2, "1", "x\r\ny\n\nz"), (6, "2", "y"), (7, "3", "4"), (9, "5", "6")]
    assert reading.rows["raw"].to_list() == ['1,"x\r\ny\n\nz"', "2,y", '"3\n",4', "5,6"]


def test_quoted_line_break_across_blocks(read):
    """A quoted field may be longer than the blocks in which a file is read."""
    note = "line\n" * 50
    content = f'a,b\n1,"{note}x"\n' + "2,y\n" * 30
    reading = read(content, block_bytes=16)
    assert rows(reading)[0] == (2, "1", note + "x")
    assert rows(reading)[1][0] == 53
    assert reading.rows["line"].to_list()[-1] == 82


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ('"say ""hot"" now"', 'say "hot" now'),
        ('""""', '"'),
        ('""', ""),
        ('"a,b"', "a,b"),
        ('3/4" pipe', '3/4" pipe'),
        ('a "quoted" word', 'a "quoted" word'),
        ("5'11\"", "5'11\""),
        ('"C:\\new\\"', "C:\\new\\"),
        ('x""y', 'x""y'),
        (' "trimmed" ', "trimmed"),
        ('"  inner  "', "inner"),
        ("\u00a0no break\u00a0", "no break"),
        ("\u3000wide\u2003", "wide"),
        ("'single'", "'single'"),
        ("😀🔧", "😀🔧"),
        ("מטבח 7", "מטבח 7"),
        ("\u202eright\u202c", "\u202eright\u202c"),
        ("NA", "NA"),
        ("007", "007"),
        ("=1+1", "=1+1"),
        ("\ufffd", "\ufffd"),
    ],
)
def test_field_as_typed_and_as_read(read, typed, value):
    """Quotes, blanks and foreign letters in one field, between two others."""
    assert rows(read(f"a,b,c\n1,{typed},3\n")) == [(2, "1", value, "3")]


def test_blanks_around_the_quotes_hide_no_delimiter(read):
    """Fields are trimmed before their quotes are looked at."""
    assert rows(read('a,b,c\n1, "x, y" ,3\n')) == [(2, "1", "x, y", "3")]


def test_tab_inside_quotes_of_a_tab_file(read):
    """With tabs as delimiters a quoted tab is text, and is trimmed at the edge."""
    assert rows(read('a\tb\n1\t"x\ty\t"\n')) == [(2, "1", "x\ty")]


def test_megabyte_field_is_read(read):
    """A note of megabytes, plain and with quoted line breaks, is one field."""
    plain, broken = "x" * 20_000_000, 'line ""two""\n' * 400_000
    reading = read(f'a,b\n1,{plain}\n2,"{broken}"\n3,z\n')
    values = rows(reading)
    assert values[0] == (2, "1", plain)
    assert values[1] == (3, "2", broken.replace('""', '"').rstrip("\n"))
    assert values[2] == (400_004, "3", "z")


def test_wide_file_is_read(read):
    """Three thousand columns keep their places, also beside hard quotes."""
    names = ",".join(f"h{index}" for index in range(3000))
    values = [str(index) for index in range(3000)]
    hard = ",".join(' "x" ' for _ in values)
    reading = read(f"{names}\n{','.join(values)}\n{hard}\n")
    assert reading.rows.drop("line", "raw").row(0) == tuple(values)
    assert reading.rows.drop("line", "raw").row(1) == ("x",) * 3000


def test_raw_is_the_row_as_it_came(read):
    """The raw text keeps blanks and quotes, and loses only its line end."""
    reading = read('a,b\r\n 1 , "x"\r\n2,3')
    assert reading.rows["raw"].to_list() == [' 1 , "x"', "2,3"]


def test_encoded_file_with_hard_rows(read):
    """Quoted line breaks and stray quotes are read in UTF-16 with CRLF as anywhere."""
    text = 'a;b\r\n1;"é\r\n😀"\r\n2;3/4" é\r\n'
    reading = read(b"\xff\xfe" + text.encode("utf-16-le"))
    assert rows(reading) == [(2, "1", "é\r\n😀"), (4, "2", '3/4" é')]


def test_header_key_passes_over_case_and_marks():
    """Spaces, dots, dashes and underscores do not tell names apart; other marks do."""
    assert header_key(" Purchased On") == header_key("PURCHASED_ON") == header_key("purchased-on.")
    assert header_key("Serial No.") != header_key("serial")
    assert header_key("ph#") != header_key("ph")


@pytest.mark.parametrize("begin", [b"PK\x03\x04\x14\0", b"\x1f\x8b\x08\0"])
def test_a_packed_file_under_the_name_of_a_text_is_told_as_that(read, begin):
    """A workbook that was renamed, or a gzip file: no row of it is one."""
    reading = read(begin + b"serial,site\nA,B\n")
    assert (reading.fault.rule, reading.rows_read) == ("packed_file", 0)
    assert "\0" not in reading.fault.sentence
    assert read(b"PK,serial\nA,B\n").fault is None
