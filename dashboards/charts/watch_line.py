"""One early warning: the CUSUM of one family and cause class by month, against its limit.

Rows: `rows` (month as ISO text, cusum, decision_value, alarm, text).
"""

import altair as alt

from dashboards.charts.theme import layered
from dashboards.theme import color


def draw() -> alt.LayerChart:
    """A line, the value at which it alarms, and the months that alarmed."""
    base = alt.Chart(alt.NamedData("rows"))
    x = alt.X("month:T", title=None, axis=alt.Axis(format="%b %y", labelOverlap=True, tickCount=8))
    y_title = "CUSUM, failures beyond what is expected"
    line = base.mark_line(point=alt.OverlayMarkDef(size=24)).encode(
        x=x,
        y=alt.Y("cusum:Q", title=y_title),
        tooltip=[
            alt.Tooltip("month:T", title="Month", format="%Y-%m"),
            alt.Tooltip("text:N", title="Failures"),
        ],
    )
    limit = base.mark_line(strokeDash=[4, 3], color=color("ink"), strokeWidth=1).encode(
        x=x, y=alt.Y("decision_value:Q", title=y_title)
    )
    alarms = (
        base.transform_filter("datum.alarm")
        .mark_point(filled=True, size=60, opacity=1, color=color("series-2"))
        .encode(
            x=x,
            y=alt.Y("cusum:Q", title=y_title),
            tooltip=[
                alt.Tooltip("month:T", title="Month", format="%Y-%m"),
                alt.Tooltip("text:N", title="Failures"),
            ],
            description="text:N",
        )
    )
    return layered(line, limit, alarms, height=240)
