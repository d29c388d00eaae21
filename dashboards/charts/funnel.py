"""The funnel: the ratio of each region or agency against how much could be expected of it.

Rows: `rows` (region, name, expected, ratio, flagged, text; region only where it can be picked) and
`limits` (expected, low_95, high_95, low_998, high_998) in order of `expected`. The param `picked`
outlines a region.
"""

import altair as alt

from dashboards.charts.theme import fixed_rows, layered
from dashboards.theme import color


def draw(
    x_title: str = "Failures expected at the overall rate",
    y_title: str = "Ratio to all regions",
    who: str = "Region",
) -> alt.LayerChart:
    """Dots inside or outside two pairs of limits; those that stand out are named."""
    picked = alt.param(name="picked", value="")
    limits = alt.Chart(alt.NamedData("limits"))
    x = alt.X("expected:Q", title=x_title)
    lines = [
        limits.mark_line(strokeWidth=1.5, color=color("line-strong"), strokeDash=dash).encode(
            x=x, y=alt.Y(f"{column}:Q", title=y_title)
        )
        for column, dash in (
            ("low_95", [4, 3]),
            ("high_95", [4, 3]),
            ("low_998", [1, 0]),
            ("high_998", [1, 0]),
        )
    ]
    one = (
        alt.Chart(fixed_rows([{"one": 1}]))
        .mark_rule(color=color("ink"), opacity=0.6)
        .encode(y=alt.Y("one:Q", title=y_title))
    )
    base = alt.Chart(alt.NamedData("rows"))
    dots = (
        base.mark_point(filled=True, opacity=1, size=70)
        .encode(
            x=x,
            y=alt.Y("ratio:Q", title=y_title),
            fill=alt.condition(
                "datum.flagged",
                alt.value(color("series-2")),
                alt.value(color("series-1")),
            ),
            stroke=alt.condition(
                "datum.region == picked", alt.value(color("ink")), alt.value(color("surface"))
            ),
            strokeWidth=alt.condition("datum.region == picked", alt.value(3), alt.value(1)),
            tooltip=[alt.Tooltip("name:N", title=who), alt.Tooltip("text:N", title="Ratio")],
            description="text:N",
        )
        .add_params(picked)
    )
    names = (
        base.transform_filter("datum.flagged || datum.region == picked")
        .mark_text(align="left", dx=8, dy=-6, color=color("ink"))
        .encode(x=x, y=alt.Y("ratio:Q", title=y_title), text="name:N")
    )
    return layered(*lines, one, dots, names, height=300)
