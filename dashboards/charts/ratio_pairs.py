"""Crude and adjusted ratios side by side: what is left of a region once its water is allowed for.

Rows: `rows` (name, crude, adjusted, low, high, text); list: `names`.
"""

import altair as alt

from dashboards.charts.theme import fixed_rows, layered
from dashboards.theme import RATIO_TICKS, color


def draw() -> alt.LayerChart:
    """A hollow dot for the crude ratio, a full one with its interval for the adjusted."""
    title = "Ratio to all regions (log scale)"
    y = alt.Y(
        "name:N",
        title=None,
        scale=alt.Scale(domain=["@names"]),
        axis=alt.Axis(labelLimit=150, grid=True),
    )
    scale = alt.Scale(type="log", nice=False, padding=12)
    axis = alt.Axis(values=RATIO_TICKS)
    base = alt.Chart(alt.NamedData("rows"))
    tooltip = [alt.Tooltip("name:N", title="Region"), alt.Tooltip("text:N", title="Ratios")]
    x = alt.X("adjusted:Q", scale=scale, title=title, axis=axis)
    rules = base.mark_rule(strokeWidth=2, color=color("series-3")).encode(
        x=alt.X("low:Q", scale=scale, title=title, axis=axis), x2="high:Q", y=y
    )
    crude = base.mark_point(filled=False, size=80, strokeWidth=2, color=color("series-2")).encode(
        x=alt.X("crude:Q", scale=scale, title=title, axis=axis),
        y=y,
        tooltip=tooltip,
        description="text:N",
    )
    adjusted = base.mark_point(filled=True, size=85, opacity=1, color=color("series-3")).encode(
        x=x, y=y, tooltip=tooltip, description="text:N"
    )
    one = (
        alt.Chart(fixed_rows([{"one": 1}]))
        .mark_rule(strokeDash=[4, 3], color=color("ink"))
        .encode(x=alt.X("one:Q", scale=scale, title=title, axis=axis))
    )
    return layered(one, rules, crude, adjusted, height=alt.Step(26))
