"""A forecast by month with its 80 % and 95 % intervals, and what happened where it is known.

Rows: `rows` (month as ISO text, value, low_80, high_80, low_95, high_95, actual, text).
"""

import altair as alt

from dashboards.charts.theme import layered
from dashboards.theme import color


def draw(axis_title: str, *, money: bool = False) -> alt.LayerChart:
    """Two bands around a line; full dots for what happened."""
    base = alt.Chart(alt.NamedData("rows"))
    axis = alt.Axis(format=",.0f") if money else alt.Axis()
    x = alt.X(
        "month:T",
        title=None,
        axis=alt.Axis(
            format="%b %y", tickCount={"interval": "month", "step": 2}, labelOverlap=True
        ),
    )
    wide = base.mark_area(opacity=0.16, color=color("series-1")).encode(
        x=x, y=alt.Y("low_95:Q", title=axis_title, axis=axis), y2="high_95:Q"
    )
    narrow = base.mark_area(opacity=0.22, color=color("series-1")).encode(
        x=x, y=alt.Y("low_80:Q", title=axis_title, axis=axis), y2="high_80:Q"
    )
    tooltip = [
        alt.Tooltip("month:T", title="Month", format="%Y-%m"),
        alt.Tooltip("text:N", title="Failures"),
    ]
    line = base.mark_line(point=alt.OverlayMarkDef(size=30)).encode(
        x=x, y=alt.Y("value:Q", title=axis_title, axis=axis), tooltip=tooltip, description="text:N"
    )
    actual = (
        base.transform_filter("isValid(datum.actual)")
        .mark_point(filled=True, size=70, opacity=1, shape="diamond", color=color("series-2"))
        .encode(
            x=x,
            y=alt.Y("actual:Q", title=axis_title, axis=axis),
            tooltip=tooltip,
            description="text:N",
        )
    )
    return layered(wide, narrow, line, actual, height=280)
