"""Dates and moments: ISO 8601, a mapping's formats, ambiguity and time zones."""

import datetime as dt

import polars as pl
import pytest

from pipelines.records.dates import (
    FormatFault,
    days,
    format_pattern,
    has_two_readings,
    looks_like_day,
)
from pipelines.records.moments import moments


def read(expression, *texts):
    """The values of texts under an expression over `text`."""
    return pl.DataFrame({"text": texts}).select(value=expression)["value"].to_list()


def day(text, *formats):
    """The day that a text is under ISO 8601 and the formats."""
    return read(days(pl.col("text"), tuple(map(format_pattern, formats))), text)[0]


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-31",
        "2026-03-31T23:59",
        "2026-03-31 00:00:00",
        "2026-03-31T23:59:59.999Z",
        "2026-03-31T23:30:00-09:00",
        "2026-03-31T00:30:00+0545",
        "2026-03-31T24:00",
        "2026-03-31t10",
    ],
)
def test_a_time_behind_an_iso_day_is_cut_and_never_shifted(text):
    """Whatever the offset, the day that is written is the day."""
    assert day(text) == dt.date(2026, 3, 31)


@pytest.mark.parametrize(
    "text",
    ["20260331", "2026-W14-2", "2026-090", "2026-03", "2026-3-31", "26-03-31", "31.03.2026",
     "2026-02-29", "2026-04-31", "2026-13-01", "2026-03-31T25:00", "2026-03-31 noon",
     "2026-03-31 10:00 PM", "0026-03-31", "1899-12-30", "２０２６-03-31"],
)  # fmt: skip
def test_no_other_form_and_no_impossible_day_is_a_date(text):
    """Compact, week and ordinal forms, short years and days of no calendar are set aside."""
    assert day(text) is None


def test_two_digit_years_need_a_format_that_says_so():
    """`3/7/24` is never the year 24, and 69 to 99 are of the last century."""
    assert day("3/7/24", "%m/%d/%Y") is None
    assert day("3/7/24", "%m/%d/%Y", "%m/%d/%y") == dt.date(2024, 3, 7)
    assert day("3/7/68", "%m/%d/%y") == dt.date(2068, 3, 7)
    assert day("3/7/69", "%m/%d/%y") == dt.date(1969, 3, 7)
    assert day("3/7/2024", "%m/%d/%y") is None


def test_a_value_that_two_formats_read_differently_is_ambiguous():
    """03/04 is set aside, 13/04 and 04/04 are not."""
    formats = ("%m/%d/%Y", "%d/%m/%Y")
    patterns = tuple(map(format_pattern, formats))
    assert day("03/04/2026", *formats) is None
    assert read(has_two_readings(pl.col("text"), patterns), "03/04/2026", "04/04/2026") == [
        True,
        False,
    ]
    assert day("13/04/2026", *formats) == dt.date(2026, 4, 13)
    assert day("04/04/2026", *formats) == dt.date(2026, 4, 4)


def test_iso_counts_among_the_formats_that_may_differ():
    """A mapping that reads 2026-03-04 as the third of April makes it ambiguous."""
    assert day("2026-03-04", "%Y-%d-%m") is None
    assert day("2026-03-31", "%Y-%d-%m") == dt.date(2026, 3, 31)


@pytest.mark.parametrize(
    ("text", "form"),
    [
        ("31 Mar 2026", "%d %b %Y"),
        ("31-MAR-26", "%d-%b-%y"),
        ("March 31, 2026", "%B %d, %Y"),
        ("Tue 31.3.2026", "%a %d.%m.%Y"),
        ("03312026", "%m%d%Y"),
        ("3/31/2026 4:05 PM", "%m/%d/%Y %I:%M %p"),
        ("2026/03/31", "%Y/%m/%d"),
        ("100% 31.03.2026", "100%% %d.%m.%Y"),
        ("31%3.2026", "%d%%%m.%Y"),  # a literal sign is no part: the month may have one digit
    ],
)
def test_formats_read_what_strptime_reads(text, form):
    """Month names, short years, clocks, shorthands and literal signs."""
    assert day(text, form) == dt.date(2026, 3, 31)
    assert dt.datetime.strptime(text, form).date() == dt.date(2026, 3, 31)


def test_an_impossible_day_is_told_from_a_foreign_form():
    """31/02 has the form of the mapping, 31st does not."""
    patterns = (format_pattern("%d/%m/%Y"),)
    assert read(looks_like_day(pl.col("text"), patterns), "31/02/2025", "31st Feb") == [True, False]


@pytest.mark.parametrize(
    ("form", "words"),
    [
        ("%m/%d", "names no year"),
        ("%Y-%m", "names no day"),
        ("%d/%Y", "names no month"),
        ("%d/%m/%Y %y", "more than one year"),
        ("%d/%d/%m/%Y", "more than one day"),
        ("%q/%m/%Y", "`%q`"),
        ("%d/%m/%Y %", "ends a directive too early"),
        ("DD.MM.YYYY", "names no day"),
    ],
)
def test_a_bad_format_is_told_in_words(form, words):
    """Each mistake has its own sentence."""
    with pytest.raises(FormatFault) as caught:
        format_pattern(form)
    assert words in str(caught.value)


def moment(text, *formats, zone="America/Denver"):
    """The moment that a text is in a zone."""
    return read(moments(pl.col("text"), tuple(map(format_pattern, formats)), zone), text)[0]


def test_a_moment_without_offset_is_in_the_workspace_zone():
    """Nothing is shifted where nothing is told."""
    assert moment("2025-12-29T16:20") == dt.datetime(2025, 12, 29, 16, 20)
    assert moment("2025-12-29 16:20:07.5") == dt.datetime(2025, 12, 29, 16, 20, 7, 500_000)


def test_a_moment_with_offset_is_converted_and_may_change_its_day():
    """02:30 UTC is the evening before in Denver, in summer by six hours, in winter by seven."""
    assert moment("2025-07-01T02:30:00Z") == dt.datetime(2025, 6, 30, 20, 30)
    assert moment("2025-12-29T02:30:00+00:00") == dt.datetime(2025, 12, 28, 19, 30)
    assert moment("2025-12-29T02:30:00.25-0330") == dt.datetime(2025, 12, 28, 23, 0, 0, 250_000)
    assert moment("2025-12-29 23:00 +05", zone="Asia/Kolkata") == dt.datetime(2025, 12, 29, 23, 30)


def test_a_mapping_may_name_the_form_of_a_moment():
    """Twelve at noon and at midnight are told apart."""
    form = "%m/%d/%Y %I:%M %p"
    assert moment("12/29/2025 12:20 PM", form) == dt.datetime(2025, 12, 29, 12, 20)
    assert moment("12/29/2025 12:20 AM", form) == dt.datetime(2025, 12, 29, 0, 20)


@pytest.mark.parametrize(
    "text", ["2025-12-29", "2025-12-29T16", "2025-02-30T10:00", "noon", "2025-12-29T24:00"]
)
def test_a_day_alone_is_no_moment(text):
    """Two rulings of one day would have no order."""
    assert moment(text) is None


def test_shorthand_directives_stand_for_what_they_abbreviate():
    """`%D`, `%F`, `%R` and `%T` are written out."""
    assert day("03/31/26", "%D") == dt.date(2026, 3, 31)
    assert moment("31.03.2026 16:20:05", "%d.%m.%Y %T") == dt.datetime(2026, 3, 31, 16, 20, 5)


@pytest.mark.parametrize(
    ("day", "is_sound"),
    [("1899-12-31", False), ("1900-01-01", True), ("2199-12-31", True), ("2200-01-01", False)],
)
def test_days_are_those_of_three_centuries(desk, day, is_sound):
    """A year far off is a slip of the pen."""
    parsed = desk.parse("units", f"serial,model,shipped_on\nA,SK-2,{day}\n")
    assert (parsed.rows.height, parsed.set_aside.is_empty()) == (int(is_sound), is_sound)


@pytest.mark.parametrize(
    ("text", "form", "is_read"),
    [
        ("31.03.2026 23:59:60", "%d.%m.%Y %H:%M:%S", True),
        ("31.03.2026 24:00:00", "%d.%m.%Y %H:%M:%S", True),
        ("31.03.2026 7:05:09", "%d.%m.%Y %H:%M:%S", True),
        ("31.03.2026 25:00:00", "%d.%m.%Y %H:%M:%S", False),
        ("31.03.2026 10:60:00", "%d.%m.%Y %H:%M:%S", False),
        ("31.03.2026 10:00:61", "%d.%m.%Y %H:%M:%S", False),
        ("20260331235959", "%Y%m%d%H%M%S", True),
        ("20260331256059", "%Y%m%d%H%M%S", False),
        ("03/31/2026 12:59 pm", "%m/%d/%Y %I:%M %p", True),
        ("03/31/2026 01:05 AM", "%m/%d/%Y %I:%M %p", True),
        ("03/31/2026 13:00 PM", "%m/%d/%Y %I:%M %p", False),
        ("03/31/2026 0:30 AM", "%m/%d/%Y %I:%M %p", False),
    ],
)
def test_a_time_that_no_clock_shows_is_no_date(text, form, is_read):
    """A time of day is cut under a format too, but only one that there is, as under ISO 8601."""
    assert day(text, form) == (dt.date(2026, 3, 31) if is_read else None)
