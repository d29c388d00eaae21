"""Curves over months in service, each with its band: survival, incidence, mean counts and costs.

Rows: `rows` (group, months, value, low, high, text, to), `risk` and `named` (group, months, label,
y in pixels: the units at risk below the axis, and whose line it is); list: `groups`.
"""

import altair as alt

from dashboards.charts.theme import layered
from dashboards.theme import SERIES, color


def draw(axis_title: str, *, percent: bool = False, money: bool = False) -> alt.LayerChart:
    """Steps for the estimates, bands for the limits, one color and dash a group."""
    base = alt.Chart(alt.NamedData("rows"))
    x = alt.X(
        "months:Q",
        title="Months in service",
        axis=alt.Axis(values=list(range(0, 121, 6)), labelOverlap=True),
        scale=alt.Scale(nice=False),
    )
    axis = alt.Axis(format="%") if percent else alt.Axis(format=",.0f" if money else "~g")
    value = alt.Y("value:Q", title=axis_title, axis=axis, scale=alt.Scale(zero=not percent))
    # The same for color and dash, so that they share one legend.
    legend = alt.Legend(
        columns=3, symbolType="stroke", symbolOpacity=1, symbolStrokeWidth=3, symbolSize=350
    )
    group = alt.Color(
        "group:N",
        title=None,
        scale=alt.Scale(range=SERIES, domain=["@groups"]),
        legend=legend,
    )
    dash = alt.StrokeDash(
        "group:N",
        title=None,
        scale=alt.Scale(
            range=[[1, 0], [6, 3], [2, 2], [8, 3, 2, 3], [4, 4], [1, 3]], domain=["@groups"]
        ),
        legend=legend,
    )
    bands = base.mark_area(opacity=0.14, interpolate="step-after").encode(
        x=x,
        y=alt.Y("low:Q", title=axis_title, axis=axis, scale=alt.Scale(zero=not percent)),
        y2="high:Q",
        color=group,
    )
    lines = base.mark_line(interpolate="step-after", strokeWidth=2.25).encode(
        x=x, y=value, color=group, strokeDash=dash
    )
    points = base.mark_point(filled=True, size=26, opacity=1).encode(
        x=x,
        y=value,
        color=group,
        tooltip=[
            alt.Tooltip("group:N", title="Group"),
            alt.Tooltip("months:Q", title="Months"),
            alt.Tooltip("text:N", title="Estimate"),
        ],
        description="text:N",
    )
    return layered(bands, lines, points, *_at_risk(x), height=300)


def _at_risk(x: alt.X) -> list[alt.Chart]:
    """The lines below the axis, outside the frame: pixels place them, whatever the scale."""
    y = alt.Y("y:Q", scale=None, axis=None)
    marked = (
        alt.Chart(alt.NamedData("risk")).mark_text(baseline="middle", fontSize=10.5),
        alt.Chart(alt.NamedData("named")).mark_text(
            baseline="middle", fontSize=10.5, align="right", dx=-14
        ),
    )
    return [
        chart.encode(x=x, y=y, text="label:N", color=alt.value(color("muted"))) for chart in marked
    ]
