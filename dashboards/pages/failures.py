"""The page of failures: those behind any count of the field page, by the page's address."""

from __future__ import annotations

from typing import Any

import polars as pl
from markupsafe import Markup

from dashboards import formats
from dashboards.data import PageData

MOST_FAILURES = 20_000
# What a row shows, with its heading; `water` and `where` are put together from the rest.
SHOWN = (
    ("failed_on", "Failed on"),
    ("claim", "Claim"),
    ("call", "Call"),
    ("serial", "Unit"),
    ("site", "Site"),
    ("age_days", "Age, days"),
    ("cause", "Cause"),
    ("part", "Part"),
    ("agency", "Agency"),
    ("needs", "Water of the day"),
    ("product", "Product"),
    ("cost", "Cost"),
)


def content(data: PageData) -> dict[str, Any]:
    """What the template needs: every failure with its dimensions, or where to ask for them."""
    frame = data.figures.get("field_failures", pl.DataFrame())
    too_many = frame.height > MOST_FAILURES
    hidden = [name for name in ("agency",) if name in data.hide and name in frame.columns]
    shown = frame.drop(hidden)
    columns = [] if too_many else shown.columns
    values_by_column = {
        name: _values(shown[name]) if name != "dose" else _coded(shown) for name in columns
    }
    return {
        "title": "Failures",
        "count": frame.height,
        "too_many": too_many,
        "headings": [(name, word) for name, word in SHOWN if name in shown.columns],
        "failures": Markup(
            formats.script_json({"columns": values_by_column, "currency": data.currency})
        ),
    }


def _coded(frame: pl.DataFrame) -> dict[str, Any]:
    """Doses as numbers of their words: each failure has many, and there are few."""
    words = sorted(frame["dose"].explode().drop_nulls().unique())
    places = {word: place for place, word in enumerate(words)}
    return {
        "words": words,
        "of": [[places[word] for word in own or []] for own in frame["dose"].to_list()],
    }


def _values(column: pl.Series) -> list[Any]:
    """A column as the script reads it: days and money as text, lists joined by `+`."""
    if column.dtype == pl.Date:
        return column.dt.to_string("%Y-%m-%d").to_list()
    if isinstance(column.dtype, pl.Decimal):
        return column.cast(pl.Float64).to_list()
    if column.dtype == pl.List(pl.String):
        return column.list.join("+").to_list()
    return column.to_list()
