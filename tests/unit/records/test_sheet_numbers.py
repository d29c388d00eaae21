"""Numbers that a sheet itself holds are read right under a mapping with decimal commas."""

from __future__ import annotations

import polars as pl
import pytest

from pipelines.exports.reading import Reading
from pipelines.records.numerals import Marks
from pipelines.records.row_cells import in_marks


def reading(typed: pl.DataFrame | None) -> Reading:
    """A sheet of two rows: a number cell, a text cell, and a text that looks like a number."""
    rows = pl.DataFrame(
        {"line": [2, 3], "raw": ["", ""], "c0": ["1.5", "x.y"], "c1": ["2.5", None]}
    )
    return Reading("xlsx", "", ["a", "b"], 1, rows, pl.DataFrame(), 2, typed=typed)


@pytest.mark.parametrize(
    ("decimal", "first", "second"),
    [(",", ["1,5", "x.y"], ["2.5", None]), (".", ["1.5", "x.y"], ["2.5", None])],
)
def test_number_cells_are_written_with_the_mappings_comma(decimal, first, second) -> None:
    """Only cells that the sheet types as numbers, and only where the mapping has a comma."""
    typed = pl.DataFrame(
        {"line": [2], "c0": ["number"], "c1": [None]},
        {"line": pl.Int64, "c0": pl.String, "c1": pl.String},
    )
    rows = in_marks(reading(typed), Marks(decimal)).rows
    assert (rows["c0"].to_list(), rows["c1"].to_list()) == (first, second)


def test_a_text_file_is_left_as_it_is() -> None:
    """It has no cells of a type of their own."""
    assert in_marks(reading(None), Marks(",")).rows["c0"].to_list() == ["1.5", "x.y"]
