"""The one altair theme that all charts use.

Belongs here: what every chart looks like. Does not belong here: colors and type (`theme`), what a
chart shows.
"""

from __future__ import annotations

from contextlib import AbstractContextManager
from typing import Any, cast

import altair as alt

from dashboards.theme import FONT, SERIES, color


@alt.theme.register("limeledger", enable=True)
def limeledger_theme() -> alt.theme.ThemeConfig:
    """The theme of every chart: quiet axes, no frame, one type size below the text's."""
    axis: Any = {
        "labelColor": color("muted"),
        "titleColor": color("muted"),
        "gridColor": color("grid"),
        "domainColor": color("line-strong"),
        "tickColor": color("line-strong"),
        "labelFontSize": 12,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
        "labelPadding": 4,
        "titlePadding": 8,
        "domain": False,
        "tickSize": 4,
    }
    return alt.theme.ThemeConfig(
        {
            "config": {
                "font": FONT,
                "background": "transparent",
                "view": {"stroke": None},
                "padding": 2,
                "axis": axis,
                "axisQuantitative": {"tickCount": 6},
                "axisBand": {"grid": False, "domain": False, "ticks": False},
                "legend": {
                    "labelColor": color("ink"),
                    "titleColor": color("muted"),
                    "labelFontSize": 12,
                    "titleFontSize": 12,
                    "titleFontWeight": "normal",
                    "orient": "top",
                    "symbolStrokeWidth": 2,
                    "labelLimit": 220,
                },
                "title": {"color": color("ink"), "fontSize": 14, "anchor": "start"},
                "range": {"category": SERIES},
                "bar": {"color": color("series-1")},
                "line": {"color": color("series-1"), "strokeWidth": 2},
                "point": {"color": color("series-1"), "filled": True, "size": 60},
                "rule": {"color": color("line-strong")},
                "text": {"color": color("ink"), "fontSize": 12},
            }
        }
    )


def fixed_rows(rows: list[dict[str, float]]) -> alt.Data:
    """Rows that a chart always has, such as the line at one."""
    return alt.Data(values=rows)  # type: ignore[no-untyped-call]


def layered(*charts: alt.Chart, height: int | alt.Step) -> alt.LayerChart:
    """Charts over each other, as wide as the place that they stand in."""
    # A layer of plain charts is never faceted, which altair's own type leaves open.
    return cast(alt.LayerChart, alt.layer(*charts).properties(width="container", height=height))


def themed() -> AbstractContextManager[object]:
    """What is written out inside wears the theme, whatever else was enabled meanwhile."""
    return cast(AbstractContextManager[object], alt.theme.enable("limeledger"))
