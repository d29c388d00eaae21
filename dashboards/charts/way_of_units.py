"""The way of units, step by step: the share done within 90 days, with limits, and the median.

Rows: `rows` (name, value, low, high, thin, text, median); list: `names`, from top to bottom.
"""

import altair as alt

from dashboards.charts.theme import layered
from dashboards.theme import color


def draw() -> alt.LayerChart:
    """A dot a step with its interval, hollow where it is thin, and the median at the right."""
    name = alt.Y(
        "name:N",
        title=None,
        scale=alt.Scale(domain=["@names"]),
        axis=alt.Axis(labelLimit=210, grid=True),
    )
    tooltip = [alt.Tooltip("name:N", title="Step"), alt.Tooltip("text:N", title="Within 90 days")]
    share = alt.Scale(domain=[0, 1])
    axis = alt.Axis(format="%", tickCount=5)
    title = "Units that took the step within 90 days of the one before"
    base = alt.Chart(alt.NamedData("rows"))
    rules = base.mark_rule(strokeWidth=2, color=color("line-strong")).encode(
        x=alt.X("low:Q", scale=share, title=title, axis=axis), x2="high:Q", y=name, tooltip=tooltip
    )
    dots = base.mark_point(filled=True, size=85, opacity=1, strokeWidth=2).encode(
        x=alt.X("value:Q", scale=share, title=title, axis=axis),
        y=name,
        fill=alt.condition("datum.thin", alt.value(color("surface")), alt.value(color("series-1"))),
        stroke=alt.value(color("series-1")),
        tooltip=tooltip,
        description="text:N",
    )
    # Above the line, on the side of the dot where there is room.
    at = {"x": alt.X("value:Q", scale=share, title=title, axis=axis), "y": name, "text": "median:N"}
    few = base.transform_filter("datum.value <= 0.5").mark_text(align="left", dy=-11).encode(**at)
    many = base.transform_filter("datum.value > 0.5").mark_text(align="right", dy=-11).encode(**at)
    return layered(rules, dots, few, many, height=alt.Step(40))
