"""A water test against its limits: one bar an analyte, as a share of its limit.

Rows: `rows` (analyte, text, share, outside: yes | no | bound, beyond) and `ticks` (analyte, share,
kind: limit | lower limit, text). List:
`analytes`. A share of 1 is the upper limit, or the lower where it is alone.
"""

import altair as alt

from dashboards.charts.theme import layered
from dashboards.theme import color

TITLE = "The water against its limits"


def draw() -> alt.LayerChart:
    """Bars to the value, a dark tick at each limit; a bar cut short says how far it goes."""
    analyte = alt.Y(
        "analyte:N",
        title=None,
        scale=alt.Scale(domain=["@analytes"]),
        axis=alt.Axis(labelLimit=210),
    )
    bars = (
        alt.Chart(alt.NamedData("rows"))
        .mark_bar(height=14, cornerRadiusEnd=2)
        .encode(
            x=alt.X(
                "share:Q",
                title="Share of the limit",
                axis=alt.Axis(format="%", tickCount=5),
                scale=alt.Scale(zero=True, nice=False),
            ),
            y=analyte,
            color=alt.Color(
                "outside:N",
                scale=alt.Scale(
                    domain=["no", "yes", "bound"],
                    range=[color("series-3"), color("series-2"), color("thin")],
                ),
                legend=None,
            ),
            tooltip=[
                alt.Tooltip("analyte:N", title="Analyte"),
                alt.Tooltip("text:N", title="Reported"),
            ],
            description="text:N",
        )
    )
    beyond = (
        alt.Chart(alt.NamedData("rows"))
        .transform_filter("datum.beyond")
        .mark_text(align="right", dx=-6, color=color("surface"), fontWeight="bold")
        .encode(x="share:Q", y=analyte, text="beyond:N")
    )
    ticks = (
        alt.Chart(alt.NamedData("ticks"))
        .mark_tick(thickness=3, height=20, color=color("ink"), opacity=1)
        .encode(
            x="share:Q",
            y=analyte,
            tooltip=[alt.Tooltip("analyte:N"), alt.Tooltip("text:N", title="Limit")],
            description="text:N",
        )
    )
    return layered(bars, ticks, beyond, height=alt.Step(28))
