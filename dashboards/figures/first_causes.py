"""What the first failure is: causes competing, the most frequent ones."""

from __future__ import annotations

from dashboards import formats
from dashboards.figures.curves import MOST_GROUPS, TABLE_MONTHS, common_month, curve_points
from dashboards.figures.cuts import ALL, Cuts, Field, Figure, Row, View


def figure(field: Field, cuts: Cuts) -> Figure:
    """The figure of first causes, for every pick."""
    views = {}
    for pick in field.picks:
        fixed = {} if pick.dimension == ALL else {pick.dimension: pick.value}
        by = "cause_class" if pick.dimension == ALL else f"{pick.dimension},cause_class"
        rows = cuts.rows(by, **fixed) or [
            row for row in cuts.rows(pick.dimension, **fixed) if row["cause_class"] != ALL
        ]
        curves: dict[str, list[Row]] = {}
        for row in rows:
            curves.setdefault(row["cause_class"], []).append(row)
        happened = [name for name in curves if _last(curves[name]) > 0]
        largest = sorted(happened, key=lambda name: (-_last(curves[name]), name))[:MOST_GROUPS]
        if largest:
            views[f"*/{pick.key}"] = _view({name: curves[name] for name in largest})
    return Figure(
        "first-causes",
        "What the first failure is",
        [("incidence", "incidence")],
        views,
        reading="Share of units whose first failure had that cause (Aalen–Johansen, causes "
        "competing), the five most frequent.",
    )


def _last(rows: list[Row]) -> float:
    return max((row["incidence"] or 0 for row in rows), default=0.0)


def _view(groups: dict[str, list[Row]]) -> View:
    month = common_month(groups)
    known = {
        name: row
        for name, rows in groups.items()
        for row in rows
        if row["months"] == month and row["incidence"] is not None
    }
    says = "Too few units at risk to compare."
    if month and known:
        first = max(known, key=lambda name: known[name]["incidence"])
        row = known[first]
        limits = formats.bracketed(formats.percents(row["low"], row["high"], 1))
        says = (
            f"By {month} months, {formats.percent(row['incidence'], 1)}{limits} of units have "
            f"failed first by {first}."
        )

    def text(row: Row) -> str:
        limits = formats.bracketed(formats.percents(row["low"], row["high"], 1))
        return f"{formats.percent(row['incidence'], 1)}{limits}, {row['at_risk']:,} at risk"

    points = curve_points(groups, ("incidence", "low", "high"), text)
    table = [
        [
            name,
            str(row["months"]),
            formats.whole(row["at_risk"]),
            formats.percent(row["incidence"], 1),
            formats.percents(row["low"], row["high"], 1),
        ]
        for name, rows in groups.items()
        for row in rows
        if row["months"] in TABLE_MONTHS and row["shown"]
    ]
    units = max(row["at_risk"] for rows in groups.values() for row in rows)
    return View(
        says,
        f"{formats.counted(units, 'unit')}.",
        {"incidence": {"rows": {"rows": points}, "lists": {"groups": list(groups)}}},
        ["Cause", "Months", "At risk", "Failed first by it", "95 %"],
        table,
    )
