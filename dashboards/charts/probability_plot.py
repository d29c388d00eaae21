"""A Weibull probability plot: ln(-ln S) over the logarithm of age, on which a fit is a line.

Rows: `rows` (age_days, failed, fitted, low, high, text).
"""

import altair as alt

from dashboards.charts.theme import layered
from dashboards.theme import color


def draw() -> alt.LayerChart:
    """Dots for the estimate without a law, the line of the fit, a band for its limits."""
    names = ("failed", "fitted", "low", "high")
    chart = alt.Chart(alt.NamedData("rows"))
    for name in names:
        chart = chart.transform_calculate(**{f"y_{name}": f"log(-log(1 - datum.{name}))"})
    x = alt.X("age_days:Q", title="Age, days (log scale)", scale=alt.Scale(type="log", nice=False))
    title = "ln(−ln share without failure)"
    y = {name: alt.Y(f"y_{name}:Q", title=title, scale=alt.Scale(zero=False)) for name in names}
    band = chart.mark_area(opacity=0.16, color=color("series-1")).encode(
        x=x, y=y["low"], y2="y_high:Q"
    )
    line = chart.mark_line(color=color("series-1"), strokeWidth=2).encode(x=x, y=y["fitted"])
    dots = chart.mark_point(filled=True, size=30, opacity=1, color=color("ink")).encode(
        x=x,
        y=y["failed"],
        tooltip=[
            alt.Tooltip("age_days:Q", title="Age, days"),
            alt.Tooltip("text:N", title="Estimate"),
        ],
        description="text:N",
    )
    return layered(band, line, dots, height=260)
