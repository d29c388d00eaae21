"""Whether probabilities can be believed: share right against the probability told.

Rows: `rows` (probability, share, low, high, thin, text); on the line both agree.
"""

import altair as alt

from dashboards.charts.theme import fixed_rows, layered
from dashboards.theme import color


def draw() -> alt.LayerChart:
    """A dot a tenth of the scale with its interval, and the line on which the two agree."""
    unit = alt.Scale(domain=[0, 1], nice=False)
    x = alt.X("probability:Q", title="Probability told", scale=unit, axis=alt.Axis(format="%"))
    y_title = "Share that was booked so"
    line = (
        alt.Chart(fixed_rows([{"at": 0}, {"at": 1}]))
        .mark_line(strokeDash=[4, 3], color=color("ink"), strokeWidth=1)
        .encode(
            x=alt.X("at:Q", scale=unit, title="Probability told", axis=alt.Axis(format="%")),
            y=alt.Y("at:Q", scale=unit, title=y_title, axis=alt.Axis(format="%")),
        )
    )
    base = alt.Chart(alt.NamedData("rows"))
    tip = [alt.Tooltip("text:N", title="Held-out calls")]
    rules = base.mark_rule(strokeWidth=2, color=color("line-strong")).encode(
        x=x, y=alt.Y("low:Q", scale=unit, title=y_title), y2="high:Q", tooltip=tip
    )
    dots = base.mark_point(filled=True, size=85, opacity=1, strokeWidth=2).encode(
        x=x,
        y=alt.Y("share:Q", scale=unit, title=y_title),
        fill=alt.condition("datum.thin", alt.value(color("surface")), alt.value(color("series-1"))),
        stroke=alt.value(color("series-1")),
        tooltip=tip,
        description="text:N",
    )
    return layered(line, rules, dots, height=260)
