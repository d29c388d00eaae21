"""What all figures share: rows of a field table by slice, the reader's picks, and a view's parts.

Belongs here: looking rows up and laying out what a view holds. Does not belong here: any one
figure.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import polars as pl

from dashboards import formats
from dashboards.data import PageData
from dashboards.figures.behind import Cell, Linked

ALL = "all"
PICKED = ("region", "family", "profile")
EVENT_WORDS = {"any": "failures of any cause", "water": "water-caused failures"}
EVENT_CHOICES = (("water", "Water-caused"), ("any", "Any cause"))
Row = dict[str, Any]


class Cuts:
    """The rows of one field table by slice, ready to be looked up."""

    def __init__(self, frame: pl.DataFrame) -> None:
        self._frame = frame
        self._found: dict[tuple[str, tuple[str, ...]], dict[tuple[Any, ...], list[Row]]] = {}

    def rows(self, by: str, **fixed: Any) -> list[Row]:
        """The rows sliced `by` whose columns have the fixed values, in the table's order."""
        names = tuple(sorted(fixed))
        if (by, names) not in self._found:
            grouped: dict[tuple[Any, ...], list[Row]] = defaultdict(list)
            for row in self._frame.filter(by=by).iter_rows(named=True):
                grouped[tuple(row[name] for name in names)].append(row)
            self._found[by, names] = grouped
        return self._found[by, names].get(tuple(fixed[name] for name in names), [])


@dataclass(frozen=True)
class Pick:
    """One thing a reader can pick: everything, or one region, family or profile."""

    dimension: str
    value: str
    label: str

    @property
    def key(self) -> str:
        """How the page and its address name the pick."""
        return ALL if self.dimension == ALL else f"{self.dimension}={self.value}"


@dataclass(frozen=True)
class View:
    """What one figure shows for one choice and pick."""

    says: str  # as it stands in `field_sentences`; empty where the figure has none for the pick
    sample: str
    charts: Mapping[str, Mapping[str, Any]]
    columns: Sequence[str]
    table: Sequence[Sequence[Cell]]

    def as_json(self) -> dict[str, Any]:
        """The view as the page's script reads it: rows by column, cells that link as lists."""
        charts = {part: formats.packed(chart) for part, chart in self.charts.items()}
        rows = [[list(c) if isinstance(c, Linked) else c for c in row] for row in self.table]
        table = [list(self.columns), *rows]
        return {"says": self.says, "sample": self.sample, "charts": charts, "table": table}


@dataclass(frozen=True)
class Figure:
    """One figure: its charts, and its views by `choice/pick`; `*/pick` where no choice matters."""

    key: str
    title: str
    charts: Sequence[tuple[str, str]]  # part, chart's specification
    views: Mapping[str, View]
    layout: str = ""  # a style: "pair" or "wide-chart"
    legend: Sequence[tuple[str, str]] = ()  # style, label
    reading: str = ""  # how to read it, in a sentence
    handout: str = ""  # the table whose handout is the figure's


@dataclass(frozen=True)
class Section:
    """One question of the page: an optional choice, its figures, and cautions beside them.

    The first figure is drawn; the others are folded, and drawn when they are opened.
    """

    key: str
    title: str
    figures: Sequence[Figure]
    choices: Sequence[tuple[str, str]] = ()
    choice_title: str = ""
    cautions: Sequence[str] = field(default_factory=tuple)


@dataclass(frozen=True)
class Field:
    """The field figures as the page needs them: cuts by table, picks, names, currency."""

    tables: Mapping[str, Cuts]
    sentences: Mapping[tuple[str, str, str], str]
    picks: Sequence[Pick]
    regions: Mapping[str, Row]
    currency: str
    agencies: Sequence[Row] = ()
    sensitivity: Sequence[Row] = ()
    failures_of_agency: Mapping[str, int] = field(default_factory=dict)

    def cuts(self, table: str) -> Cuts | None:
        """The table's cuts; None where there is no such table or no row in it."""
        return self.tables.get(table)

    def sentence(self, figure: str, by: str = ALL, event: str = ALL) -> str:
        """The figure's sentence for a slice and event; empty where it has none."""
        return self.sentences.get((figure, by, event), "")

    def cautions(self, *keys: tuple[str, str]) -> list[str]:
        """The sentences of these figures and slices that stand beside others."""
        return [sentence for key in keys if (sentence := self.sentence(*key))]

    def cautions_of(self, figure: str, slices: Sequence[str], event: str) -> list[str]:
        """The figure's sentences for these slices and one event, where there are any."""
        return [sentence for by in slices if (sentence := self.sentence(figure, by, event))]

    def cautions_of_events(self, figure: str, by: str) -> list[str]:
        """The figure's sentences for a slice, water-caused failures first."""
        return [
            sentence for event, _ in EVENT_CHOICES if (sentence := self.sentence(figure, by, event))
        ]

    def region_name(self, code: str) -> str:
        """A region's name, or its code where it has none."""
        return (self.regions.get(code) or {}).get("name") or code


def field_of(data: PageData) -> Field:
    """The field of the page data; picks are what the rates are sliced by."""
    # Agencies and assumptions are not sliced, so they are rows and no cuts.
    tables = {
        name: Cuts(frame)
        for name, frame in data.figures.items()
        if frame.height and "by" in frame.columns
    }
    agencies, assumed = (
        data.figures[name].to_dicts() if name in data.figures else []
        for name in ("agency_figures", "sensitivity")
    )
    agencies = [] if "agency" in data.hide else agencies
    regions = {row["region"]: row for row in data.regions.iter_rows(named=True)}
    sentence_rows = data.figures.get("field_sentences", pl.DataFrame())
    sentences = {(row[0], row[1], row[2]): row[3] for row in sentence_rows.rows()}
    field_ = Field(tables, sentences, [], regions, data.currency)
    picks = [Pick(ALL, ALL, "the whole field")]
    rates = tables.get("rates")
    for dimension in PICKED:
        values = [row[dimension] for row in rates.rows(dimension)] if rates else []
        for value in sorted(values):
            label = field_.region_name(value) if dimension == "region" else value
            picks.append(Pick(dimension, value, label))
    return Field(
        tables, sentences, picks, regions, data.currency, agencies, assumed, _of_agencies(data)
    )


def _of_agencies(data: PageData) -> dict[str, int]:
    """How many failures each agency went to."""
    failures = data.figures.get("field_failures")
    if failures is None or failures.is_empty():
        return {}
    return dict(failures.drop_nulls("agency").group_by("agency").len().rows())


def slim(value: Any) -> Any:
    """A float to six significant digits, to keep pages small; anything else as it is."""
    return float(f"{value:.6g}") if isinstance(value, float) else value


def rate_text(row: Row, digits: int = 3) -> str:
    """`12.3 per 100 unit-years (10.1 to 14.9)`."""
    low, high = limits(row)
    if row["rate_per_100"] is None:
        return row.get("note") or "not estimated"
    return (
        f"{formats.number(row['rate_per_100'], digits)} per 100 unit-years "
        f"({formats.interval(low, high, digits)})"
    )


def limits(row: Row) -> tuple[float | None, float | None]:
    """The interval to show: robust to units that fail again where there is one, else exact."""
    low, high = row.get("robust_low"), row.get("robust_high")
    if low is None or high is None:
        return row["low"], row["high"]
    return low, high


def dot(
    name: str, value: float | None, low: Any, high: Any, thin: bool, text: str, to: str = ""
) -> Row:
    """A row of the chart of estimates with intervals; `to` selects the failures behind it."""
    return {
        **({"to": to} if to else {}),
        "name": name,
        "value": slim(value),
        "low": slim(low),
        "high": slim(high),
        "thin": thin,
        "text": text + (" (thin)" if thin else ""),
    }


def funnel_lines(rows: Iterable[Row]) -> list[Row]:
    """The limits of a funnel, a point a row, for rows in order of what is expected."""
    names = {
        "expected": "expected",
        "low_95": "funnel_95_low",
        "high_95": "funnel_95_high",
        "low_998": "funnel_998_low",
        "high_998": "funnel_998_high",
    }
    return [{name: slim(row[column]) for name, column in names.items()} for row in rows]


def exposure(rows: Iterable[Row]) -> str:
    """`212 failures in 1,840 unit-years of 900 units` over rows that do not overlap."""
    listed = list(rows)
    failures = sum(row["failures"] for row in listed)
    years = sum(row["unit_years"] for row in listed)
    text = f"{formats.counted(failures, 'failure')} in {formats.number(years, 4)} unit-years"
    if listed and "units" in listed[0]:
        text += f" of {formats.counted(sum(row['units'] for row in listed), 'unit')}"
    return text + "."


def step_of(value: float | None, top: float) -> str:
    """Which of five equal steps up to `top` a value falls in."""
    if value is None or top <= 0:
        return "thin"
    return str(min(5, int(5 * value / top) + 1))
