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
        rows = cuts.rows(pick.dimension, event="any", **fixed)
        if rows:
            views[f"/{pick.key}"] = _view(rows)
    if not views:
        return None
    figure = Figure(
        "cohorts",
        "Failures per 100 units still watched, by quarter of entry",
        [("cohort_grid", "cohort_grid")],
        views,
        layout="wide-chart",
        legend=[("l-thin", "immature: reports are still expected; completed for them")],
        reading="A row is the units whose warranty began in that quarter, a column their months "
        "in service: the mean number of failures by that age, per 100 units, each age judged by "
        "the units still watched at it. Gray cells are immature and show the completed figure. A "
        "quarter ends where fewer than 20 of its units, or than 5 % of them, are still watched.",
    )
    return Section("cohorts", "Is it getting better?", [figure], (), "", field.cautions("cohorts"))


def _shown(row: Row) -> float | None:
    value: float | None = row["completed_per_100"] if row["immature"] else row["mean_per_100"]
    return value


def _view(rows: list[Row]) -> View:
    shown = [row for row in rows if row["months"] in _MONTHS and row["shown"]]
    mature = [row for row in shown if not row["immature"]]
    top = max((row["mean_per_100"] for row in mature), default=0.0)
    cells = [
        {
            "cohort": row["cohort"],
            "months": row["months"],
            "step": "immature" if row["immature"] else step_of(row["mean_per_100"], top),
            "cell": formats.number(_shown(row), 2),
            "text": _text(row),
        }
        for row in shown
    ]
    units = {row["cohort"]: row["units"] for row in rows}
    sample = f"{formats.counted(sum(units.values()), 'unit')} in {len(units)} quarters of entry."
    table = [
        [
            row["cohort"],
            str(row["months"]),
            formats.whole(row["units"]),
            formats.whole(row["at_risk"]),
            formats.whole(row["failures"]),
            formats.number(row["mean_per_100"]),
            formats.interval(row["mean_low"], row["mean_high"]),
            formats.number(row["completed_per_100"]),
            formats.interval(row["completed_low"], row["completed_high"]),
            "yes" if row["immature"] else "no",
        ]
        for row in shown
    ]
    columns = [
        "Entered", "Months", "Units", "Still watched", "Failures", "Per 100", "95 %",
        "Completed", "95 % completed", "Immature",
    ]  # fmt: skip
    says = _says([row for row in mature if row["months"] == 12])
    return View(says, sample, {"cohort_grid": {"rows": {"rows": cells}}}, columns, table)


def _says(year_old: list[Row]) -> str:
    """How the newest quarter that is a year old stands; no quarter is called better or worse."""
    solid = [row for row in year_old if not row["thin"]]
    if not year_old:
        return "No quarter is old enough to compare."
    if not solid:
        return "Too few failures or units in any quarter that is a year old to compare."
    newest = max(solid, key=lambda row: row["cohort"])
    limits = formats.interval(newest["mean_low"], newest["mean_high"])
    return (
        f"By 12 months the units of {newest['cohort']}, the newest quarter that is a year old, "
        f"have failed {formats.number(newest['mean_per_100'])} times ({limits}) per 100 units "
        "still watched."
    )


def _text(row: Row) -> str:
    limits = formats.interval(row["mean_low"], row["mean_high"])
    text = (
        f"{formats.number(row['mean_per_100'])} ({limits}) per 100; "
        f"{formats.counted(row['at_risk'], 'unit')} still watched"
    )
    if row["immature"]:
        limits = formats.interval(row["completed_low"], row["completed_high"])
        text += f" ; completed {formats.number(row['completed_per_100'])} ({limits})"
    return text
