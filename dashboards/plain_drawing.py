"""A figure's rows as a plain drawing for paper: dots with their limits, or curves with bands.

Belongs here: SVG written out, without a library or a script. Does not belong here: the charts of
the pages (`charts`).
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import polars as pl
from markupsafe import Markup

from dashboards import formats

# Estimate, its limits, and what it is called on the axis; the first that a table has is drawn.
ESTIMATES = (
    ("adjusted_ratio", "adjusted_low", "adjusted_high", "adjusted ratio"),
    ("ratio", "low", "high", "ratio"),
    ("rate_per_100", "low", "high", "failures per 100 unit-years"),
    ("survival", "low", "high", "share without a failure"),
    ("incidence", "low", "high", "share that failed first by it"),
    ("mean_count", "count_low", "count_high", "failures a unit"),
    ("mean_per_100", "mean_low", "mean_high", "failures per 100 units"),
    ("shape", "shape_low", "shape_high", "Weibull shape"),
    ("failures", "low_95", "high_95", "failures expected"),
    ("value", "low", "high", "value"),
)
_ON_LOG = ("adjusted_ratio", "ratio", "shape")
_COLORS = ("#5968b5", "#8c2a0f", "#398f9a", "#451b40", "#92743d", "#40515e")
_DASHES = ("", "6 3", "2 2", "8 3 2 3", "4 4", "1 3")
_LEFT, _RIGHT, _LINE = 200.0, 610.0, 16
_HIGH, _MOST_CURVES = 220, len(_COLORS)


class Estimate(NamedTuple):
    """Which columns are drawn, and what they are called."""

    value: str
    low: str
    high: str
    words: str


def drawing(table: pl.DataFrame, most: int) -> Markup:
    """Curves where the rows go by month, else a dot for each of the first rows; or nothing."""
    estimate = next(
        (Estimate(*one) for one in ESTIMATES if {one[0], one[1], one[2]} <= set(table.columns)),
        None,
    )
    if estimate is None:
        return Markup("")
    known = table.filter(
        pl.all_horizontal(pl.col(estimate.value, estimate.low, estimate.high).is_not_null())
    )
    if "thin" in known.columns:
        known = known.filter(~pl.col("thin"))
    if known.is_empty():
        return Markup("")
    if "months" in known.columns and known["months"].n_unique() > 2:
        return _curves(known, estimate)
    return _dots(known.head(most), estimate)


def _names(table: pl.DataFrame) -> list[str]:
    """What tells a row from the others: its words, without those that are the same in all."""
    words = [
        name
        for name, kind in table.schema.items()
        if kind == pl.String
        and name not in ("note", "sentence", "by", "families")
        and (table[name].n_unique() > 1 or table.height == 1)
    ]
    days = [
        name
        for name, kind in table.schema.items()
        if kind == pl.Date and table[name].n_unique() > 1
    ]
    return [
        ", ".join(str(row[name]) for name in (*words, *days)) or "all" for row in table.to_dicts()
    ]


def _scale(values: list[float], on_log: bool) -> tuple[float, float]:
    """From where to where the axis goes."""
    if on_log:
        positive = [value for value in values if value > 0]
        low, high = min([1.0, *positive]), max([1.0, *positive])
        return low / 1.1, high * 1.1
    return min(0.0, *values), max(values) or 1.0


def _place(value: float, ends: tuple[float, float], on_log: bool) -> float:
    """A value's place from 0 to 1 between the ends."""
    low, high = ends
    if on_log:
        value = min(max(value, low), high)
        return math.log(value / low) / math.log(high / low)
    return (value - low) / (high - low)


def _dots(table: pl.DataFrame, estimate: Estimate) -> Markup:
    rows = table.to_dicts()
    on_log = estimate.value in _ON_LOG
    columns = (estimate.low, estimate.value, estimate.high)
    ends = _scale([float(row[name]) for row in rows for name in columns], on_log)
    span = _RIGHT - _LEFT
    lines = []
    for place, (row, name) in enumerate(zip(rows, _names(table), strict=True)):
        y = 14 + _LINE * place
        left, dot, right = (
            _LEFT + span * _place(float(row[column]), ends, on_log) for column in columns
        )
        lines.append(
            Markup(
                '<text x="{}" y="{}" text-anchor="end" font-size="10">{}</text>'
                '<line x1="{:.1f}" x2="{:.1f}" y1="{}" y2="{}" stroke="#667"/>'
                '<circle cx="{:.1f}" cy="{}" r="3.5" fill="#1f5fa8"/>'
            ).format(_LEFT - 8, y + 3, _short(name), left, right, y, y, dot, y)
        )
    height = 34 + _LINE * len(rows)
    if on_log:
        one = _LEFT + span * _place(1.0, ends, on_log)
        lines.append(
            Markup(
                '<line x1="{0:.1f}" x2="{0:.1f}" y1="4" y2="{1}" stroke="#333" '
                'stroke-dasharray="4 3"/>'
                '<text x="{0:.1f}" y="{2}" font-size="9" text-anchor="middle">1</text>'
            ).format(one, height - 20, height - 6)
        )
    words = f"{estimate.words}{' (log scale)' if on_log else ''}"
    axis = Markup(
        '<text x="{}" y="{}" font-size="9">{}</text>'
        '<text x="{}" y="{}" font-size="9" text-anchor="end">{} {}</text>'
    ).format(
        _LEFT, height - 6, formats.number(ends[0]), _RIGHT, height - 6, formats.number(ends[1]),
        words,
    )  # fmt: skip
    return _svg(height, words, [*lines, axis])


def _curves(table: pl.DataFrame, estimate: Estimate) -> Markup:
    with_names = table.with_columns(name=pl.Series(_names(table.drop("months"))))
    parts = with_names.partition_by("name", maintain_order=True)[:_MOST_CURVES]
    columns = (estimate.low, estimate.value, estimate.high)
    shown = pl.concat(parts)
    ends = _scale([float(value) for name in columns for value in shown[name].to_list()], False)
    last = max(shown["months"].to_list()) or 1

    def x(months: Any) -> float:
        return 40 + 440 * float(months) / last

    def y(value: Any) -> float:
        return 10 + _HIGH * (1 - _place(float(value), ends, False))

    lines = []
    for place, part in enumerate(parts):
        rows = part.sort("months").to_dicts()
        over = [f"{x(row['months']):.1f},{y(row[estimate.high]):.1f}" for row in rows]
        under = [f"{x(row['months']):.1f},{y(row[estimate.low]):.1f}" for row in reversed(rows)]
        line = " ".join(f"{x(row['months']):.1f},{y(row[estimate.value]):.1f}" for row in rows)
        lines.append(
            Markup(
                '<polygon points="{}" fill="{}" opacity="0.13"/>'
                '<polyline points="{}" fill="none" stroke="{}" stroke-width="1.8" '
                'stroke-dasharray="{}"/>'
                '<text x="{:.1f}" y="{:.1f}" font-size="9.5">{}</text>'
            ).format(
                " ".join([*over, *under]), _COLORS[place], line, _COLORS[place], _DASHES[place],
                x(rows[-1]["months"]) + 4, y(rows[-1][estimate.value]) + 3,
                _short(rows[0]["name"]),
            )
        )  # fmt: skip
    axis = Markup(
        '<line x1="40" x2="480" y1="{0}" y2="{0}" stroke="#999"/>'
        '<text x="40" y="{1}" font-size="9">0</text>'
        '<text x="480" y="{1}" font-size="9" text-anchor="end">{2} months in service</text>'
        '<text x="36" y="14" font-size="9" text-anchor="end">{3}</text>'
        '<text x="36" y="{0}" font-size="9" text-anchor="end">{4}</text>'
        '<text x="44" y="14" font-size="9">{5}</text>'
    ).format(
        10 + _HIGH, 24 + _HIGH, last, formats.number(ends[1], 2), formats.number(ends[0], 2),
        estimate.words,
    )  # fmt: skip
    return _svg(_HIGH + 30, estimate.words, [*lines, axis])


def _short(name: str) -> str:
    return name if len(name) <= 34 else f"{name[:33]}…"


def _svg(height: int, words: str, parts: list[Markup]) -> Markup:
    return Markup('<svg viewBox="0 0 620 {}" role="img" aria-label="{}">{}</svg>').format(
        height, words, Markup("").join(parts)
    )
