"""Quarters of entry: what has failed by each age, and what is still to be reported."""

from __future__ import annotations

from dashboards import formats
from dashboards.figures.cuts import ALL, Field, Figure, Row, Section, View, step_of

_MONTHS = (3, 6, 9, 12, 18, 24, 30, 36, 48)


def section(field: Field) -> Section | None:
    """The section of cohorts; None without the table."""
    cuts = field.cuts("cohorts")
    if cuts is None:
        return None
    views = {}
    for pick in field.picks:
        fixed = {} if pick.dimension == ALL else {pick.dimension: pick.value}
        rows = cuts.rows(pick.dimension, **fixed)
        if rows:
            views[f"/{pick.key}"] = _view(rows)
    if not views:
        return None
    figure = Figure(
        "cohorts",
        "Failures per 100 units by quarter of entry",
        [("cohort_grid", "cohort_grid")],
        views,
        layout="wide-chart",
        legend=[("l-thin", "immature: reports are still expected; completed for them")],
        reading="A row is the units whose warranty began in that quarter, a column their months "
        "in service. Gray cells are immature and show the completed figure, or … where too little "
        "of that age has been seen to complete it.",
    )
    return Section("cohorts", "Is it getting better?", [figure], (), "", field.cautions("cohorts"))


def _shown(row: Row) -> float | None:
    return row["completed_per_100"] if row["immature"] else row["per_100"]


def _view(rows: list[Row]) -> View:
    shown = [row for row in rows if row["months"] in _MONTHS and row["per_100"] is not None]
    mature = [row for row in shown if not row["immature"]]
    top = max((row["per_100"] for row in mature), default=0.0)
    cells = [
        {
            "cohort": row["cohort"],
            "months": row["months"],
            "step": "immature" if row["immature"] else step_of(row["per_100"], top),
            "cell": "…" if _shown(row) is None else formats.number(_shown(row), 2),
            "text": _text(row),
        }
        for row in shown
    ]
    year_old = [row for row in mature if row["months"] == 12]
    solid = [row for row in year_old if not row["thin"]]
    says = "No quarter is old enough to compare."
    if year_old:
        says = "Too few failures or units in any quarter that is a year old to compare."
    if solid:
        worst = max(solid, key=lambda row: (row["per_100"], row["cohort"]))
        newest = max(solid, key=lambda row: row["cohort"])
        says = (
            f"In their first 12 months the units of {worst['cohort']} failed most, "
            f"{formats.number(worst['per_100'])} per 100; the newest full quarter, "
            f"{newest['cohort']}, stands at {formats.number(newest['per_100'])}."
        )
    units = {row["cohort"]: row["units"] for row in rows}
    sample = f"{formats.counted(sum(units.values()), 'unit')} in {len(units)} quarters of entry."
    table = [
        [
            row["cohort"],
            str(row["months"]),
            formats.whole(row["units"]),
            formats.whole(row["failures"]),
            formats.number(row["per_100"]),
            formats.number(row["completed_per_100"]),
            formats.interval(row["completed_low"], row["completed_high"]),
            "yes" if row["immature"] else "no",
        ]
        for row in shown
    ]
    columns = [
        "Entered", "Months", "Units", "Failures", "Per 100", "Completed", "95 %", "Immature",
    ]  # fmt: skip
    return View(says, sample, {"cohort_grid": {"rows": {"rows": cells}}}, columns, table)


def _text(row: Row) -> str:
    text = f"{formats.number(row['per_100'])} per 100 of {row['units']:,} units"
    if row["immature"] and row["completed_per_100"] is None:
        return f"{text} so far; {row['note']}"
    if row["immature"]:
        limits = formats.interval(row["completed_low"], row["completed_high"])
        text += f"; completed {formats.number(row['completed_per_100'])} ({limits})"
    return text
