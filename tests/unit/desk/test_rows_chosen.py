"""Rows that are not used, as a person narrows them: by what they are, feed, file and line."""

from contextlib import contextmanager
from types import SimpleNamespace

import polars as pl
import pytest

from pipelines.desk.views import rows as view

ROWS = (
    ("set_aside", "units", "u.csv", 2),
    ("set_aside", "units", "v.csv", 2),
    ("left_out", "units", "u.csv", 3),
    ("set_aside", "startups", "u.csv", 2),
)


@pytest.fixture
def site(monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    """A desk whose store has these rows; for the first of them a record was entered."""

    @contextmanager
    def no_store(_: object):
        yield None

    frame = pl.DataFrame(ROWS, schema=["kind", "feed", "file", "line"], orient="row")
    monkeypatch.setattr(view, "open_store", no_store)
    monkeypatch.setattr(view, "unused_rows", lambda _: frame)
    settled = SimpleNamespace(settled={("units", "u.csv", 2): 7})
    monkeypatch.setattr(view, "recorded_of", lambda _: settled)
    return SimpleNamespace(workspace=None, desk=None)


@pytest.mark.parametrize(
    ("given", "places"),
    [
        ({}, [1, 2, 3, 0]),
        ({"feed": "units"}, [1, 2, 0]),
        ({"feed": "credits"}, []),
        ({"file": "u.csv"}, [2, 3, 0]),
        ({"line": "3"}, [2]),
        ({"kind": "left_out"}, [2]),
        ({"feed": "units", "file": "u.csv", "line": "2"}, [0]),
        ({"kind": "set_aside", "feed": "startups"}, [3]),
    ],
)
def test_rows_are_narrowed_by_all_that_is_given(
    site: SimpleNamespace, given: dict[str, str], places: list[int]
) -> None:
    """Each thing given narrows further; the settled come last, by the number of their event."""
    found, total = view.set_aside_rows(site, given)
    cells = [tuple(row[name] for name in ("kind", "feed", "file", "line")) for row in found]
    assert (cells, total) == ([ROWS[place] for place in places], len(places))
    assert [row["settled_by"] for row in found] == [7 if place == 0 else None for place in places]
