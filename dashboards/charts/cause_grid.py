"""Failure rates by cause and water profile (or family), as a grid of shaded cells.

Rows: `rows` (group, cause, step 1-5 | thin, rate_text, text); lists: `groups`, `causes`.
"""

import altair as alt

from dashboards.charts.theme import layered
from dashboards.theme import STEPS, color


def draw() -> alt.LayerChart:
    """A cell a pair, deeper where the rate is higher; hollow where the figure is thin."""
    x = alt.X(
        "cause:N",
        title=None,
        scale=alt.Scale(domain=["@causes"]),
        axis=alt.Axis(orient="top", labelAngle=-35, labelOverlap=False),
    )
    y = alt.Y(
        "group:N",
        title=None,
        scale=alt.Scale(domain=["@groups"]),
        axis=alt.Axis(labelLimit=150),
    )
    base = alt.Chart(alt.NamedData("rows"))
    cells = base.mark_rect(stroke=color("line"), strokeWidth=1).encode(
        x=x,
        y=y,
        color=alt.Color(
            "step:N",
            scale=alt.Scale(
                domain=["1", "2", "3", "4", "5", "thin"], range=[*STEPS, color("surface")]
            ),
            legend=None,
        ),
        tooltip=[
            alt.Tooltip("group:N", title="Group"),
            alt.Tooltip("cause:N", title="Cause"),
            alt.Tooltip("text:N", title="Rate"),
        ],
        description="text:N",
    )
    numbers = base.mark_text(fontSize=11).encode(
        x=x,
        y=y,
        text="rate_text:N",
        color=alt.condition(
            "datum.step == '4' || datum.step == '5'",
            alt.value(color("on-deep")),
            alt.value(color("on-pale")),
        ),
    )
    return layered(cells, numbers, height=alt.Step(30))
