"""Numbers: what is one, what may be one, and what is none."""

from decimal import Decimal

import polars as pl
import pytest

from pipelines.records.numerals import Marks, bound_text, floats, hours, money, wholes


def read(expression, *texts):
    """The values of texts under an expression over `text`."""
    frame = pl.DataFrame({"text": texts}, schema={"text": pl.String})
    return frame.select(value=expression)["value"].to_list()


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("7", 7.0),
        ("-7.25", -7.25),
        ("+.5", 0.5),
        ("5.", 5.0),
        ("1,234.50", 1234.5),
        ("1,234,567", 1234567.0),
        ("1 234", 1234.0),
        ("1\u202f234\u00a0567.5", 1234567.5),
    ],
)
def test_digits_with_sign_point_and_plain_thousands_are_numbers(text, value):
    """Every spelling of the contract is read as the number that it is."""
    assert read(floats(pl.col("text"), Marks()), text) == [value]


@pytest.mark.parametrize(
    "text",
    ["1,234", "1,5", "0,234.5", "12,34,567", "1 23", "1'234", "1e3", "nan", "inf", "0x1F", "１２",
     "٣", "--1", "1-", "$5", "5 %", "", ".", "-", "1.2.3", "1,234 567", "9" * 400],
)  # fmt: skip
def test_anything_else_is_no_number(text):
    """Ambiguous thousands, exponents, words, foreign digits and overflows are set aside."""
    assert read(floats(pl.col("text"), Marks()), text) == [None]


def test_a_decimal_comma_turns_the_marks_round():
    """Under a decimal comma the point is for thousands, and `1.234` alone is ambiguous."""
    texts = ("1,5", "1.234,5", "1.234.567", "1 234,5", "1.234", "7.5")
    assert read(floats(pl.col("text"), Marks(",")), *texts) == [
        1.5, 1234.5, 1234567.0, 1234.5, None, None,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("marks", "text"),
    [
        (Marks(".", ","), "1,234"),
        (Marks(",", "."), "1.234"),
        (Marks(".", "'"), "1'234"),
        (Marks(".", "'"), "1\u2019234"),
    ],
)
def test_a_named_thousands_mark_settles_a_single_group(marks, text):
    """`thousands` in the mapping makes `1,234` alone a number."""
    assert read(floats(pl.col("text"), marks), text) == [1234.0]


def test_minus_zero_is_zero():
    """A sign on nothing does not make two rows differ."""
    assert str(read(floats(pl.col("text"), Marks()), "-0")[0]) == "0.0"


def test_money_is_exact_and_further_decimals_are_cut():
    """Cutting at the sixth decimal cannot lift an amount over half a cent; rounding could."""
    texts = ("1,234.50", "0.0049999999", "0.1", "1234567890123")
    assert read(money(pl.col("text"), Marks()), *texts) == [
        Decimal("1234.5"), Decimal("0.004999"), Decimal("0.1"), None,
    ]  # fmt: skip


def test_thirds_of_an_hour_keep_ten_decimals():
    """A spreadsheet's 0.6666666666666667 stays two thirds."""
    assert read(hours(pl.col("text"), Marks()), "0.6666666666666667", "1.5") == [
        Decimal("0.6666666667"), Decimal("1.5"),
    ]  # fmt: skip


def test_whole_numbers_may_carry_zeros_but_no_fraction():
    """`2.0` is two; `2.5` is no whole number."""
    assert read(wholes(pl.col("text"), Marks()), "2", "2.0", "2.5", "1,000.0", "1e2") == [
        2, 2, None, 1000, None,
    ]  # fmt: skip


def test_the_bound_of_a_non_detect_may_stand_apart():
    """`<0.05` and `< 0.05` have the same bound."""
    assert read(bound_text(pl.col("text")), "<0.05", "<  0.05", "0.05") == ["0.05", "0.05", None]
