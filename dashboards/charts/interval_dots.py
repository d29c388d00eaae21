"""Estimates with their intervals, one line an estimate: rates, ratios, costs.

Rows: `rows` (name, value, low, high, thin, text); list: `names`, from top to bottom.
"""

import altair as alt

from dashboards.charts.theme import fixed_rows, layered
from dashboards.theme import RATIO_TICKS, color


def draw(axis_title: str, *, ratio: bool = False) -> alt.LayerChart:
    """A dot an estimate with its interval; hollow where it is thin; ratios on a log scale."""
    name = alt.Y(
        "name:N",
        title=None,
        scale=alt.Scale(domain=["@names"]),
        # Long names have room where there is any: a phone keeps most of its width for the dots.
        axis=alt.Axis(labelLimit=alt.ExprRef("containerSize()[0] < 600 ? 165 : 330"), grid=True),
    )
    scale = alt.Scale(type="log", nice=False, padding=12) if ratio else alt.Scale(zero=True)
    axis = alt.Axis(values=RATIO_TICKS, format="~g", labelOverlap=True) if ratio else alt.Axis()
    base = alt.Chart(alt.NamedData("rows"))
    rules = base.mark_rule(strokeWidth=2, color=color("line-strong")).encode(
        x=alt.X("low:Q", scale=scale, title=axis_title, axis=axis),
        x2="high:Q",
        y=name,
        tooltip=[alt.Tooltip("name:N", title="What"), alt.Tooltip("text:N", title="Estimate")],
    )
    dots = base.mark_point(filled=True, size=85, opacity=1, strokeWidth=2).encode(
        x=alt.X("value:Q", scale=scale, title=axis_title, axis=axis),
        y=name,
        fill=alt.condition("datum.thin", alt.value(color("surface")), alt.value(color("series-1"))),
        stroke=alt.value(color("series-1")),
        tooltip=[alt.Tooltip("name:N", title="What"), alt.Tooltip("text:N", title="Estimate")],
        description="text:N",
    )
    layers = [rules, dots]
    if ratio:
        one = (
            alt.Chart(fixed_rows([{"one": 1}]))
            .mark_rule(strokeDash=[4, 3], color=color("ink"))
            .encode(x=alt.X("one:Q", scale=scale, title=axis_title, axis=axis))
        )
        layers.insert(0, one)
    return layered(*layers, height=alt.Step(26))
