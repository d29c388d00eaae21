"""Asked in one pass, a frame fits where pandera says that it does, and never where it does not."""

from __future__ import annotations

import datetime as dt
import random
from decimal import Decimal

import polars as pl
import pytest

from pipelines.steps.all_steps import STEPS
from schemas.columns import fields, polars_schema
from schemas.fitting import _rules, surely_fits
from schemas.validation import SchemaErrors, pa

CLASSES = {
    name: step.table_class(name)
    for step in STEPS
    for name in step.tables
    if step.table_class(name) is not None
}
# Rules over several columns: pandera is asked.
LEFT_TO_PANDERA = {"water_tests", "treatment_purchases", "credits"}


def a_value(kind: pl.DataType, draw: random.Random, words: list[str] | None):
    """A value that often fits, sometimes lies at an edge or beyond it, and sometimes is none."""
    if draw.random() < 0.03:
        return None
    if isinstance(kind, pl.List):
        return []
    if kind == pl.String:
        return draw.choice([*words, "no word"] if words and draw.random() < 0.05 else words or "xy")
    if kind.is_float():
        return draw.choice([0.0, 0.5, 1.0] * 9 + [-0.5, 1.5, float("nan")])
    if kind.is_decimal():
        return Decimal(draw.choice(["0", "1.5"] * 9 + ["-0.01"]))
    if kind.is_integer():
        return draw.choice([1, 2] * 9 + [0, -1])
    if kind == pl.Boolean:
        return draw.random() < 0.5
    return dt.datetime(2025, 1, 1) if isinstance(kind, pl.Datetime) else dt.date(2025, 1, 1)


def a_frame(table, draw: random.Random) -> pl.DataFrame:
    """A frame of a few rows in the columns of a class."""
    height, columns = draw.randrange(3), {}
    for name, kind in polars_schema(table).items():
        isin = [check for check in fields(table)[name].checks if check.name == "isin"]
        words = list(isin[0].statistics["allowed_values"]) if isin else None
        if any(check.name == "str_matches" for check in fields(table)[name].checks):
            words = ["US-NM", "US-NM", "us-nm", "US-NM1234", "xUS-NM"]
        columns[name] = [a_value(kind, draw, words) for _ in range(height)]
    return pl.DataFrame(columns, schema=polars_schema(table))


def fits(frame: pl.DataFrame, table) -> bool:
    """What pandera says."""
    try:
        table.validate(frame, lazy=True)
    except SchemaErrors:
        return False
    return True


def test_drawn_frames_are_judged_as_pandera_judges_them() -> None:
    """Over all classes: nulls, words, bounds, patterns and numbers that are none."""
    draw, told = random.Random(20261130), []
    for name, table in CLASSES.items():
        for _ in range(6):
            frame = a_frame(table, draw)
            expected = fits(frame, table) and name not in LEFT_TO_PANDERA
            assert surely_fits(frame, table) == expected, (name, frame)
            told.append(expected)
    assert 0.2 < sum(told) / len(told) < 0.9


def test_only_the_named_classes_are_left_to_pandera() -> None:
    """Else the quick way would be no way."""
    assert {name for name, table in CLASSES.items() if _rules(table) is None} == LEFT_TO_PANDERA


def test_other_types_are_not_judged_here() -> None:
    """An integer where a decimal belongs is pandera's to tell."""
    table = CLASSES["decisions"]
    frame = polars_schema(table).to_frame()
    assert surely_fits(frame, table)
    assert not surely_fits(frame.with_columns(pl.col("claim").cast(pl.Int64)), table)


class Unknown(pa.DataFrameModel):
    """A class with a rule that is not known here."""

    word: str = pa.Field(str_length={"max_value": 2})


@pytest.mark.parametrize("word", ["ab", "abc"])
def test_a_rule_that_is_not_known_is_left_to_pandera(word: str) -> None:
    """Whatever the values are."""
    assert not surely_fits(pl.DataFrame({"word": [word]}), Unknown)
