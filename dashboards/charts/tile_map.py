"""Regions as tiles in their places, shaded by a ratio to all regions together.

Rows: `rows` (region, name, row, col, band: one of BANDS, label, text). The param `picked` outlines
a region.
"""

import altair as alt

from dashboards.charts.categories import BANDS, THIN
from dashboards.charts.theme import layered
from dashboards.theme import DIVERGING, color


def draw() -> alt.LayerChart:
    """A tile a region; thin ones hollow; the picked one outlined."""
    picked = alt.param(name="picked", value="")
    base = alt.Chart(alt.NamedData("rows"))
    x = alt.X("col:O", axis=None, scale=alt.Scale(paddingInner=0.04, paddingOuter=0))
    y = alt.Y("row:O", axis=None, scale=alt.Scale(paddingInner=0.04, paddingOuter=0))
    tiles = (
        base.mark_rect(cornerRadius=3, cursor="pointer")
        .encode(
            x=x,
            y=y,
            color=alt.Color(
                "band:N",
                title="Ratio to all regions",
                scale=alt.Scale(domain=[*BANDS, THIN], range=[*DIVERGING, color("surface")]),
                legend=alt.Legend(columns=3, symbolType="square"),
            ),
            stroke=alt.condition(
                "datum.region == picked", alt.value(color("ink")), alt.value(color("line-strong"))
            ),
            strokeWidth=alt.condition("datum.region == picked", alt.value(3), alt.value(1)),
            tooltip=[alt.Tooltip("name:N", title="Region"), alt.Tooltip("text:N", title="Ratio")],
            description="text:N",
        )
        .add_params(picked)
    )
    names = base.mark_text(fontSize=11, cursor="pointer").encode(
        x=x,
        y=y,
        text="label:N",
        color=alt.condition(
            f"datum.band == '{BANDS[0]}' || datum.band == '{BANDS[-1]}'",
            alt.value(color("on-deep")),
            alt.value(color("on-pale")),
        ),
    )
    return layered(tiles, names, height=300)
