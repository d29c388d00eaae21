"""Quarters of entry by months in service: failures per 100 units, immature cells gray.

Rows: `rows` (cohort, months, step 1-5 | immature | projected, cell, text).
"""

import altair as alt

from dashboards.charts.theme import layered
from dashboards.theme import STEPS, color


def draw() -> alt.LayerChart:
    """A row a quarter, a column an age; deeper where more units failed."""
    base = alt.Chart(alt.NamedData("rows"))
    x = alt.X("months:O", title="Months in service", axis=alt.Axis(labelAngle=0, orient="top"))
    y = alt.Y("cohort:O", title=None)
    cells = base.mark_rect(stroke=color("line"), strokeWidth=1).encode(
        x=x,
        y=y,
        color=alt.Color(
            "step:N",
            scale=alt.Scale(
                domain=["1", "2", "3", "4", "5", "immature", "projected"],
                range=[*STEPS, color("thin"), color("surface")],
            ),
            legend=None,
        ),
        tooltip=[
            alt.Tooltip("cohort:O", title="Entered"),
            alt.Tooltip("months:O", title="Months"),
            alt.Tooltip("text:N", title="Failures"),
        ],
        description="text:N",
    )
    numbers = base.mark_text(fontSize=11).encode(
        x=x,
        y=y,
        text="cell:N",
        color=alt.condition(
            "datum.step == '4' || datum.step == '5'",
            alt.value(color("on-deep")),
            alt.value(color("on-pale")),
        ),
    )
    return layered(cells, numbers, height=alt.Step(26))
