"""Alarms on a time line: a bar for the months in alarm, a thin line for the rise before it.

Rows: `rows` (pair, began, first, last as ISO text, state: one of ALARMS, text, to); list: `names`.
"""

import altair as alt

from dashboards.charts.categories import ALARMS
from dashboards.charts.theme import layered
from dashboards.theme import color


def draw() -> alt.LayerChart:
    """A line a pair of family and cause."""
    base = alt.Chart(alt.NamedData("rows"))
    y = alt.Y(
        "pair:N",
        title=None,
        scale=alt.Scale(domain=["@names"]),
        axis=alt.Axis(labelLimit=170, grid=True),
    )
    axis = alt.Axis(format="%b %y", labelOverlap=True, tickCount=8)
    rises = base.mark_rule(strokeWidth=2, color=color("line-strong")).encode(
        x=alt.X("began:T", title=None, axis=axis), x2="first:T", y=y
    )
    bars = base.mark_bar(
        height=11, cornerRadius=2, stroke=color("line-strong"), strokeWidth=1, cursor="pointer"
    ).encode(
        x=alt.X("first:T", title=None, axis=axis),
        x2="last:T",
        y=y,
        color=alt.Color(
            "state:N",
            title="The alarm",
            scale=alt.Scale(domain=list(ALARMS), range=[color(c) for c in ALARMS.values()]),
            legend=alt.Legend(symbolType="square", symbolStrokeColor=color("line-strong")),
        ),
        tooltip=[
            alt.Tooltip("pair:N", title="Pair"),
            alt.Tooltip("first:T", title="From", format="%Y-%m"),
            alt.Tooltip("text:N", title="Failures"),
        ],
        description="text:N",
    )
    return layered(rises, bars, height=alt.Step(22))
