"""A storage tank over the week that is hardest for it: one panel a membrane, one line a tank.

Rows: `rows` (product, tank, hour, level, short). List: `tanks`, smallest first. `hour` counts from
the start of the week, `level` is in L at its end, `short` says whether water was missing.
"""

import altair as alt

from dashboards.theme import color

PANEL_HEIGHT = 120
_DAY = 24
# Told apart on paper without color too; no line has the color of the hours without water.
_LINES = [color(f"series-{n}") for n in (1, 3, 4, 5, 6)]
_DASHES = [[1, 0], [6, 3], [2, 2], [8, 3, 2, 3], [10, 4], [4, 4]]


def draw(tanks: list[str]) -> alt.FacetChart:
    """Levels as lines, and a thick mark on the floor in each hour without water."""
    hour = alt.X(
        "hour:Q",
        title="Day of the week of duty",
        scale=alt.Scale(domain=[0, 7 * _DAY], nice=False),
        axis=alt.Axis(
            values=list(range(0, 7 * _DAY, _DAY)),
            labelExpr=f"'day ' + (datum.value / {_DAY} + 1)",
            labelAlign="left",
            labelOverlap=False,
        ),
    )
    levels = (
        alt.Chart()
        .mark_line(interpolate="step-before", strokeWidth=2)
        .encode(
            x=hour,
            y=alt.Y("level:Q", title="In the tank, L", axis=alt.Axis(tickCount=4)),
            color=alt.Color(
                "tank:N",
                title=None,
                sort=tanks,
                scale=alt.Scale(domain=tanks, range=[_LINES[i % 5] for i in range(len(tanks))]),
            ),
            strokeDash=alt.StrokeDash(
                "tank:N",
                title=None,
                sort=tanks,
                scale=alt.Scale(domain=tanks, range=[_DASHES[i % 6] for i in range(len(tanks))]),
            ),
        )
    )
    empty = (
        alt.Chart()
        .transform_filter("datum.short")
        .mark_bar(height=7, yOffset=-3, color=color("series-2"), opacity=1)
        .encode(x=hour, x2="until:Q", y=alt.datum(0))
    )
    return (
        alt.layer(levels, empty, data=alt.NamedData("rows"))
        .properties(width=600, height=PANEL_HEIGHT)
        .facet(
            row=alt.Row(
                "product:N",
                title=None,
                header=alt.Header(
                    labelAngle=0, labelOrient="top", labelAnchor="start", labelFontWeight="bold"
                ),
            )
        )
    )
