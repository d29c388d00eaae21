"""What the first failure is: causes competing, the most frequent ones."""

from __future__ import annotations

from dashboards import formats
from dashboards.figures.behind import of_row, up_to
from dashboards.figures.curves import (
    MOST_GROUPS,
    at_table_months,
    chart_of,
    curve_points,
)
from dashboards.figures.cuts import ALL, Field, Figure, Row, View


def figures(field: Field) -> list[Figure]:
    """The figure of first causes of all units; none without the table."""
    cuts = field.cuts("first_causes")
    if cuts is None:
        return []
    curves: dict[str, list[Row]] = {}
    rows = cuts.rows("cause_class") or [r for r in cuts.rows(ALL) if r["cause_class"] != ALL]
    for row in rows:
        curves.setdefault(row["cause_class"], []).append(row)
    happened = [name for name in curves if _last(curves[name]) > 0]
    largest = sorted(happened, key=lambda name: (-_last(curves[name]), name))[:MOST_GROUPS]
    views = {}
    if largest:
        views[f"*/{ALL}"] = _view(field, {name: curves[name] for name in largest})
    return [
        Figure(
            "first-causes",
            "What the first failure is",
            [("incidence", "incidence")],
            views,
            reading="The share of units whose first failure had that cause (Aalen–Johansen, "
            "causes competing), the five most frequent.",
            handout="first_causes",
        )
    ]


def _last(rows: list[Row]) -> float:
    return max((row["incidence"] or 0 for row in rows), default=0.0)


def _view(field: Field, groups: dict[str, list[Row]]) -> View:
    def text(row: Row) -> str:
        limits = formats.bracketed(formats.percents(row["low"], row["high"], 1))
        return f"{formats.percent(row['incidence'], 1)}{limits}, {row['at_risk']:,} at risk"

    def behind(row: Row) -> str:
        return of_row(row | {"by": "all"}, first=row["cause_class"], age_to=up_to(row["months"]))

    points = curve_points(groups, ("incidence", "low", "high"), text, behind)
    # All causes share the same units at risk: one line below the chart tells them.
    first = next(iter(groups.values()))
    chart = chart_of({"units": first}, points)
    chart["lists"] = {"groups": list(groups)}
    table = [
        [
            name,
            str(row["months"]),
            formats.whole(row["at_risk"]),
            formats.percent(row["incidence"], 1),
            formats.percents(row["low"], row["high"], 1),
        ]
        for name, row in at_table_months(groups)
    ]
    units = max(row["at_risk"] for row in first)
    return View(
        field.sentence("first_causes"),
        f"{formats.counted(units, 'unit')}.",
        {"incidence": chart},
        ["Cause", "Months", "At risk", "Failed first by it", "95 %"],
        table,
    )
