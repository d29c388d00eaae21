"""Curves over months in service, each with its band: survival, incidence, mean counts and costs.

Rows: `rows` (group, months, value, low, high, text).
"""

import altair as alt

from dashboards.theme import SERIES


def draw(axis_title: str, *, percent: bool = False) -> alt.LayerChart:
    """Steps for the estimates, bands for the limits, one color and dash a group."""
    base = alt.Chart(alt.NamedData("rows"))
    x = alt.X("months:Q", title="Months in service", axis=alt.Axis(tickMinStep=6))
    axis = alt.Axis(format="%") if percent else alt.Axis()
    scale = alt.Scale(zero=not percent)
    group = alt.Color("group:N", title=None, sort=None, scale=alt.Scale(range=SERIES))
    bands = base.mark_area(opacity=0.14, interpolate="step-after").encode(
        x=x, y=alt.Y("low:Q", title=axis_title, axis=axis, scale=scale), y2="high:Q", color=group
    )
    lines = base.mark_line(interpolate="step-after", strokeWidth=2.25).encode(
        x=x,
        y=alt.Y("value:Q", title=axis_title, axis=axis, scale=scale),
        color=group,
        strokeDash=alt.StrokeDash(
            "group:N",
            title=None,
            sort=None,
            scale=alt.Scale(range=[[1, 0], [6, 3], [2, 2], [8, 3, 2, 3], [4, 4], [1, 3]]),
        ),
    )
    points = base.mark_point(filled=True, size=26, opacity=1).encode(
        x=x,
        y=alt.Y("value:Q", title=axis_title, axis=axis, scale=scale),
        color=group,
        tooltip=[
            alt.Tooltip("group:N", title="Group"),
            alt.Tooltip("months:Q", title="Months"),
            alt.Tooltip("text:N", title="Estimate"),
        ],
        description="text:N",
    )
    return alt.layer(bands, lines, points).properties(width="container", height=300)
