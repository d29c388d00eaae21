"""The list of rows set aside, by a text that they hold."""

from __future__ import annotations

import polars as pl
import pytest

from pipelines.desk.views.rows import _holding
from pipelines.queries.unused_rows import UNUSED
from schemas.search import THINGS

ROWS = (
    ("set_aside", "units", "u.csv", 4, "serial", "A B", "no serial"),
    ("superseded", "units", "u.csv", 4, None, "A B", "Another row counts."),
    ("set_aside", None, "Straße.csv", 2, None, None, "of no feed"),
)


@pytest.mark.parametrize(
    ("wanted", "held"),
    [
        ("w-12", [0]), ("W12", [0]), ("oak 5", [0]), ("COUNTS", [1]), ("u.csv", [0, 1]),
        ("straße", [2]), ("no feed", [2]), ("--", []), ("nowhere", []),
    ],
)  # fmt: skip
def test_rows_are_found_by_their_cells_their_file_and_the_reason(wanted, held) -> None:
    """A cell as a search finds it, also one that is not at fault; each row once, in its order."""
    frame = pl.DataFrame(
        [
            (kind, feed, file, line, [{"column": c, "value": v, "rule": "r", "reason": why}])
            for kind, feed, file, line, c, v, why in ROWS
        ],
        schema=UNUSED,
        orient="row",
    )
    thing = dict.fromkeys(THINGS) | {"kind": "set_aside", "feed": "units", "file": "u.csv"}
    cells = [thing | {"line": 4, "fields": ["W-12", "Oak 5", None]}] * 2
    searched = pl.DataFrame(cells, schema=THINGS)
    found = _holding(frame, searched, wanted)
    assert found.columns == frame.columns
    assert found.rows() == [frame.row(at) for at in held]
