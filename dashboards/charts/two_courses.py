"""Two courses over months, told apart by color and dash.

Rows: `rows` (month as ISO text, side: as it is | other terms, value, text).
"""

import altair as alt

from dashboards.charts.before_after import SIDES
from dashboards.theme import color


def draw(axis_title: str) -> alt.Chart:
    """A line a side with a dot a month."""
    sides = list(SIDES)
    chart: alt.Chart = (
        alt.Chart(alt.NamedData("rows"))
        .mark_line(point=alt.OverlayMarkDef(size=36))
        .encode(
            x=alt.X("month:T", title=None, axis=alt.Axis(format="%b %y", labelOverlap=True)),
            y=alt.Y("value:Q", title=axis_title, scale=alt.Scale(zero=True)),
            color=alt.Color(
                "side:N",
                title=None,
                scale=alt.Scale(domain=sides, range=[color(c) for c in SIDES.values()]),
            ),
            strokeDash=alt.StrokeDash(
                "side:N", title=None, scale=alt.Scale(domain=sides, range=[[6, 4], [1, 0]])
            ),
            description="text:N",
        )
        .properties(width="container", height=260)
    )
    return chart
