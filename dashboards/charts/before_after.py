"""Money before and after, a line a group: a ring for what is, a dot for what would be.

Rows: `rows` (name, side: as it is | other terms, amount, text), `spans` (name, low, high); list:
`names`.
"""

import altair as alt

from dashboards.charts.theme import layered
from dashboards.theme import color

SIDES = {"as it is": "series-6", "other terms": "series-2"}


def draw(currency: str) -> alt.LayerChart:
    """Two marks a group, told apart by shape and color, and the distance between them."""
    y = alt.Y(
        "name:N",
        title=None,
        scale=alt.Scale(domain=["@names"]),
        axis=alt.Axis(labelLimit=170, grid=True),
    )
    sides = list(SIDES)
    span = (
        alt.Chart(alt.NamedData("spans"))
        .mark_rule(strokeWidth=2, color=color("line-strong"))
        .encode(x=alt.X("low:Q", title=f"Payable, {currency}"), x2="high:Q", y=y)
    )
    marks = (
        alt.Chart(alt.NamedData("rows"))
        .mark_point(size=80, filled=True, opacity=1)
        .encode(
            x=alt.X("amount:Q", title=f"Payable, {currency}", axis=alt.Axis(format=",.0f")),
            y=y,
            color=alt.Color(
                "side:N",
                title=None,
                scale=alt.Scale(domain=sides, range=[color(c) for c in SIDES.values()]),
            ),
            shape=alt.Shape(
                "side:N", title=None, scale=alt.Scale(domain=sides, range=["square", "circle"])
            ),
            description="text:N",
        )
    )
    return layered(span, marks, height=alt.Step(24))
