"""What became of every row: one bar a feed that adds up to the rows read.

Rows: `rows` (feed, fate, rows, share, order).
"""

import altair as alt

from dashboards.charts.categories import FATES
from dashboards.theme import color

TITLE = "What became of every row"


def draw() -> alt.Chart:
    """Shares of the rows read, stacked to the whole."""
    chart: alt.Chart = (
        alt.Chart(alt.NamedData("rows"))
        .mark_bar(height=18, stroke=color("surface"), strokeWidth=1)
        .encode(
            x=alt.X(
                "rows:Q", stack="normalize", title="Share of rows read", axis=alt.Axis(format="%")
            ),
            y=alt.Y("feed:N", title=None, sort=None, axis=alt.Axis(labelLimit=170)),
            color=alt.Color(
                "fate:N",
                title=None,
                scale=alt.Scale(domain=list(FATES), range=[color(c) for c in FATES.values()]),
                legend=alt.Legend(columns=3),
            ),
            order="order:Q",
            tooltip=[
                alt.Tooltip("feed:N", title="Feed"),
                alt.Tooltip("fate:N", title="Became"),
                alt.Tooltip("rows:Q", title="Rows", format=","),
            ],
        )
        .properties(width="container", height=alt.Step(32))
    )
    return chart
