"""Weibull fits: whether the rate rises with age, B10 and B50, and whether a fit holds."""

from __future__ import annotations

from typing import Any

from dashboards import formats
from dashboards.figures.behind import of_row
from dashboards.figures.cuts import ALL, Field, Figure, Row, View, dot, slim

_MOST_POINTS = 80
_EVENTS = ("water", "any")


def figures(field: Field) -> list[Figure]:
    """The figure of fits, by event; none without the table."""
    cuts, plots = field.cuts("weibull"), field.cuts("probability_plot")
    if cuts is None:
        return []
    views: dict[str, View] = {}
    for event in _EVENTS:
        rows = [row | {"name": "all"} for row in cuts.rows(ALL, event=event)]
        rows += [row | {"name": row["family"]} for row in cuts.rows("family", event=event)]
        fitted = [row for row in rows if row["shape"] is not None]
        points = [
            row
            for row in (plots.rows(ALL, event=event) if plots else [])
            if row["age_days"] is not None
        ]
        if fitted:
            view = _view(fitted, points, field.sentence("weibull", ALL, event))
            # The section's choices name the event first; what parts its curves matters not here.
            views |= {f"{event} {by}/{ALL}": view for by in ("treatment", "family", "startup")}
    return [
        Figure(
            "weibull",
            "Does the rate rise with age?",
            [("weibull_shape", "weibull_shape"), ("probability_plot", "probability_plot")],
            views,
            layout="pair",
            reading="The shape of a Weibull fit to first failures, from 10 failures up: above 1 "
            "the rate rises with age, below 1 it falls. Beside it all units on a scale on which "
            "a Weibull life is a straight line: dots are the estimate without a law, the line is "
            "the fit with its limits. What lies beyond the months watched is marked as "
            "extrapolated.",
            handout="weibull",
        )
    ]


def plotted(points: list[Row]) -> dict[str, Any]:
    """At most `_MOST_POINTS` of the ages, evenly chosen by their order."""
    step = max(1, -(-len(points) // _MOST_POINTS))
    names = ("age_days", "failed", "fitted", "low", "high")
    return {
        "rows": {
            "rows": [
                {name: slim(row[name]) for name in names}
                | {
                    "text": f"{formats.percent(row['failed'], 1)} failed",
                    "to": of_row(row, first=row["event"], age_to=row["age_days"]),
                }
                for row in points[::step]
            ]
        },
        "title": "Does a Weibull life fit?",
    }


def _age(row: Row, name: str, value: str) -> str:
    mark = " (extrapolated)" if row[f"{name}_extrapolated"] else ""
    return formats.number(row[value]) + mark


def _view(rows: list[Row], points: list[Row], says: str) -> View:
    dots = [
        dot(
            row["name"], row["shape"], row["shape_low"], row["shape_high"], row["thin"],
            f"{formats.number(row['shape'])} "
            f"({formats.interval(row['shape_low'], row['shape_high'])})",
            of_row(row, first=row["event"]),
        )
        for row in rows
    ]  # fmt: skip
    table = [
        [
            row["name"],
            formats.number(row["shape"]),
            formats.interval(row["shape_low"], row["shape_high"]),
            _age(row, "scale", "scale_months"),
            formats.interval(row["scale_low"], row["scale_high"]),
            _age(row, "b10", "b10_months"),
            formats.interval(row["b10_low"], row["b10_high"]),
            _age(row, "b50", "b50_months"),
            formats.interval(row["b50_low"], row["b50_high"]),
            formats.whole(row["watched_to"]),
        ]
        for row in rows
    ]
    columns = [
        "Group", "Shape", "95 %", "Scale, months", "95 % ", "B10, months", "95 %  ",
        "B50, months", "95 %   ", "Watched to, months",
    ]  # fmt: skip
    charts: dict[str, Any] = {
        "weibull_shape": {
            "rows": {"rows": dots},
            "lists": {"names": [row["name"] for row in dots]},
            "title": "Shape",
        }
    }
    if points:
        charts["probability_plot"] = plotted(points)
    return View(says, f"{formats.counted(len(rows), 'fit')}.", charts, columns, table)
