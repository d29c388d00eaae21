"""Regions as tiles in their places: the ratio to all regions with its limits, shaded by it.

Rows: `rows` (region, name, row, col, band: one of BANDS, OPEN or THIN, label, ratio, limits, text,
to).
"""

import altair as alt

from dashboards.charts.categories import BANDS, OPEN, THIN
from dashboards.charts.theme import layered
from dashboards.theme import DIVERGING, color

# Field, shift in pixels, size and weight of a tile's three lines.
_LINES = (("label", -15, 12, 700), ("ratio", 0, 11, 400), ("limits", 14, 9.5, 400))


def draw() -> alt.LayerChart:
    """A tile a region: its code, its ratio, its limits; colored only where these leave 1 out."""
    base = alt.Chart(alt.NamedData("rows"))
    x = alt.X("col:O", axis=None, scale=alt.Scale(paddingInner=0.05, paddingOuter=0))
    y = alt.Y("row:O", axis=None, scale=alt.Scale(paddingInner=0.05, paddingOuter=0))
    bands = dict(zip(BANDS, DIVERGING, strict=True))
    fills = {**bands, OPEN: color("thin"), THIN: color("surface")}
    tiles = base.mark_rect(
        cornerRadius=3, cursor="pointer", stroke=color("line-strong"), strokeWidth=1
    ).encode(
        x=x,
        y=y,
        color=alt.Color(
            "band:N",
            title="Ratio to all regions",
            scale=alt.Scale(domain=list(fills), range=list(fills.values())),
            legend=alt.Legend(columns=7, symbolType="square"),
        ),
        strokeDash=alt.condition(f"datum.band == '{THIN}'", alt.value([3, 3]), alt.value([1, 0])),
        tooltip=[alt.Tooltip("name:N", title="Region"), alt.Tooltip("text:N", title="Ratio")],
        description="text:N",
    )
    deep = f"datum.band == '{BANDS[0]}' || datum.band == '{BANDS[-1]}'"
    words = [
        base.mark_text(
            dy=dy, fontSize=size, fontWeight=700 if weight == 700 else 400, cursor="pointer"
        ).encode(
            x=x,
            y=y,
            text=f"{name}:N",
            color=alt.condition(deep, alt.value(color("on-deep")), alt.value(color("on-pale"))),
        )
        for name, dy, size, weight in _LINES
    ]
    return layered(tiles, *words, height=alt.Step(52))
