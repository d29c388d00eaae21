"""Payable cost by group, line by line.

Rows: `rows` (name, line: parts | labor | travel, line_order, amount, text); list: `names`.
"""

import altair as alt

from dashboards.charts.categories import LINES
from dashboards.theme import color


def draw(currency: str) -> alt.Chart:
    """A bar a group, stacked by parts, labor and travel."""
    chart: alt.Chart = (
        alt.Chart(alt.NamedData("rows"))
        .mark_bar(height=16, stroke=color("surface"), strokeWidth=1)
        .encode(
            x=alt.X("amount:Q", title=f"Payable, {currency}", axis=alt.Axis(format=",.0f")),
            y=alt.Y(
                "name:N",
                title=None,
                scale=alt.Scale(domain=["@names"]),
                axis=alt.Axis(labelLimit=170),
            ),
            color=alt.Color(
                "line:N",
                title=None,
                scale=alt.Scale(domain=list(LINES), range=[color(c) for c in LINES.values()]),
            ),
            order="line_order:Q",
            tooltip=[
                alt.Tooltip("name:N", title="Group"),
                alt.Tooltip("line:N", title="Line"),
                alt.Tooltip("text:N", title="Payable"),
            ],
            description="text:N",
        )
        .properties(width="container", height=alt.Step(26))
    )
    return chart
