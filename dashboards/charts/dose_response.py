"""Dose-response: rates by ranges of an analyte, the curve through them, the limit and the step.

Rows: `bins` (start, end, middle, rate, low, high, thin, text, to), `curve` (value, rate_per_100,
low, high), `limit` (value, text), `step` (at, low, high, text: a row or none); lists: `x_title`,
`y_title`, a line each.
"""

import altair as alt

from dashboards.charts.theme import layered
from dashboards.theme import color


def draw() -> alt.LayerChart:
    """Bars over their ranges on a log axis, all else drawn through them."""
    scale = alt.Scale(type="log", nice=False)
    axis = alt.Axis(format=",.4~g", tickCount=8, labelOverlap=True)
    title, y_title = ["@x_title"], ["@y_title"]

    def x(name: str) -> alt.X:
        return alt.X(f"{name}:Q", title=title, scale=scale, axis=axis)

    def y(name: str) -> alt.Y:
        return alt.Y(f"{name}:Q", title=y_title, scale=alt.Scale(zero=True))

    step = alt.Chart(alt.NamedData("step"))
    shade = step.mark_rect(color=color("thin"), opacity=0.7).encode(x=x("low"), x2="high:Q")
    at = step.mark_rule(strokeDash=[5, 4], strokeWidth=2, color=color("series-2")).encode(
        x=x("at"), tooltip=alt.Tooltip("text:N", title="Step"), description="text:N"
    )
    curve = alt.Chart(alt.NamedData("curve"))
    band = curve.mark_area(opacity=0.16, color=color("series-1")).encode(
        x=x("value"), y=y("low"), y2="high:Q"
    )
    line = curve.mark_line(color=color("series-1"), strokeWidth=2).encode(
        x=x("value"), y=y("rate_per_100")
    )
    bins = alt.Chart(alt.NamedData("bins"))
    tooltip = alt.Tooltip("text:N", title="Range")
    levels = bins.mark_rule(strokeWidth=4, cursor="pointer", color=color("ink")).encode(
        x=x("start"), x2="end:Q", y=y("rate"), tooltip=tooltip
    )
    bounds = bins.mark_rule(strokeWidth=1.5, color=color("line-strong")).encode(
        x=x("middle"), y=y("low"), y2="high:Q"
    )
    dots = bins.mark_point(filled=True, size=80, opacity=1, strokeWidth=2, cursor="pointer").encode(
        x=x("middle"),
        y=y("rate"),
        fill=alt.condition("datum.thin", alt.value(color("surface")), alt.value(color("ink"))),
        stroke=alt.value(color("ink")),
        tooltip=tooltip,
        description="text:N",
    )
    limits = alt.Chart(alt.NamedData("limit"))
    limit = limits.mark_rule(strokeWidth=2.5, color=color("series-3")).encode(x=x("value"))
    name = limits.mark_text(
        align="left", dx=5, baseline="top", fontWeight="bold", color=color("ink")
    ).encode(x=x("value"), y=alt.value(2), text="text:N", description="text:N")
    return layered(shade, band, line, bounds, levels, dots, at, limit, name, height=320)
