"""The life of one unit on one time line: windows, cartridge cover, events and the failure.

Rows: `spans` (track, kind, label, start, end), `moments` (track, kind, label, on) and `failure`
(on, label), with dates as ISO text; list: `tracks`, from top to bottom.
"""

import altair as alt

from dashboards.theme import color

TITLE = "The unit's life"
SPAN_COLORS = {
    "base cover": "series-1",
    "cover with start-up": "lower-1",
    "cartridge in cover": "series-3",
    "cartridge lapsed": "series-2",
}
MOMENT_SHAPES = {
    "paper": "square",
    "water": "circle",
    "treatment": "diamond",
    "upkeep": "triangle-up",
    "repair": "cross",
    "failure": "stroke",
}


def draw() -> alt.LayerChart:
    """One line a track: bars for stretches of time, marks for days, a rule for the failure."""
    track = alt.Y("track:N", title=None, scale=alt.Scale(domain=["@tracks"]))
    spans = (
        alt.Chart(alt.NamedData("spans"))
        .mark_bar(height=11, cornerRadius=2)
        .encode(
            x=alt.X("start:T", title=None, scale=alt.Scale(padding=12)),
            x2="end:T",
            y=track,
            color=alt.Color(
                "kind:N",
                title=None,
                scale=alt.Scale(
                    domain=list(SPAN_COLORS), range=[color(name) for name in SPAN_COLORS.values()]
                ),
                legend=None,
            ),
            tooltip=[
                alt.Tooltip("label:N", title="What"),
                alt.Tooltip("start:T", title="From", format="%Y-%m-%d"),
                alt.Tooltip("end:T", title="Until", format="%Y-%m-%d"),
            ],
            description="label:N",
        )
    )
    moments = (
        alt.Chart(alt.NamedData("moments"))
        .mark_point(filled=True, size=75, opacity=1, stroke=color("surface"), strokeWidth=1)
        .encode(
            x=alt.X("on:T", title=None, axis=alt.Axis(format="%b %Y", labelOverlap=True)),
            y=track,
            shape=alt.Shape(
                "kind:N",
                scale=alt.Scale(domain=list(MOMENT_SHAPES), range=list(MOMENT_SHAPES.values())),
                legend=None,
            ),
            color=alt.value(color("ink")),
            tooltip=[
                alt.Tooltip("label:N", title="What"),
                alt.Tooltip("on:T", title="On", format="%Y-%m-%d"),
            ],
            description="label:N",
        )
    )
    failure = (
        alt.Chart(alt.NamedData("failure"))
        .mark_rule(color=color("series-2"), strokeWidth=2, strokeDash=[5, 3])
        .encode(x="on:T", tooltip=alt.Tooltip("label:N", title="What"), description="label:N")
    )
    failure_name = (
        alt.Chart(alt.NamedData("failure"))
        .mark_text(color=color("series-2"), align="center", baseline="bottom", y=-3)
        .encode(x="on:T", text="label:N")
    )
    chart: alt.LayerChart = (
        alt.layer(spans, failure, failure_name, moments)
        .properties(width="container", height=alt.Step(26))
        .resolve_scale(color="independent", shape="independent")
    )
    return chart
