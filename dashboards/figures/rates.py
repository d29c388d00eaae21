"""Failure rates by any one dimension, and causes by water profile: rates, not counts."""

from __future__ import annotations

from dashboards import formats
from dashboards.figures import assumptions
from dashboards.figures.cuts import (
    ALL,
    Cuts,
    Field,
    Figure,
    Pick,
    Row,
    Section,
    View,
    dot,
    exposure,
    group_phrase,
    limits,
    rate_text,
    step_of,
)

DIMENSIONS = (
    ("profile", "Water profile"),
    ("family", "Family"),
    ("region", "Region"),
    ("cause_class", "Cause"),
    ("startup", "Start-up"),
    ("treatment", "Treatment"),
)
_MOST_BARS = 20


def section(field: Field) -> Section | None:
    """The section of rates; None without the table."""
    cuts = field.cuts("rates")
    if cuts is None:
        return None
    figures = [_rates(field, cuts)]
    grid = _causes(field, cuts)
    if grid.views:
        figures.append(grid)
    assumed = assumptions.figure(field)
    if assumed is not None:
        figures.append(assumed)
    return Section(
        "rates",
        "How often units fail",
        figures,
        [choice for choice in DIMENSIONS if cuts.rows(choice[0])],
        "Rates by",
        field.cautions("rates"),
    )


def _rates(field: Field, cuts: Cuts) -> Figure:
    overall = next(iter(cuts.rows(ALL)), None)
    views = {}
    for dimension, title in DIMENSIONS:
        for pick in field.picks:
            rows = _sliced(cuts, dimension, pick)
            if rows:
                key = f"{dimension}/{pick.key}"
                views[key] = _rates_view(field, dimension, title, rows, overall)
    return Figure(
        "rates",
        "Failures per 100 unit-years",
        [("rates", "rates")],
        views,
        reading="A dot is the rate, the line its 95 % interval, robust to units that fail again; "
        "hollow dots are thin: fewer than 5 failures or 10 units, their lines cut at the longest "
        "of the others; the table has all limits.",
    )


def _cut(row: Row, edge: float | None) -> tuple[float | None, float | None]:
    low, high = limits(row)
    if not row["thin"] or edge is None or high is None:
        return low, high
    return low, max(min(high, edge), row["rate_per_100"])


def _sliced(cuts: Cuts, dimension: str, pick: Pick) -> list[Row]:
    """Rows by one dimension within the pick, where that pair of dimensions is computed."""
    if pick.dimension == ALL:
        return cuts.rows(dimension)
    if pick.dimension == dimension:
        return cuts.rows(dimension, **{dimension: pick.value})
    order = ("family", "region", "profile", "cause_class", "startup", "treatment")
    by = ",".join(sorted((dimension, pick.dimension), key=order.index))
    return cuts.rows(by, **{pick.dimension: pick.value})


def _rates_view(
    field: Field, dimension: str, title: str, rows: list[Row], overall: Row | None
) -> View:
    def name(row: Row) -> str:
        return field.region_name(row["region"]) if dimension == "region" else row[dimension]

    ranked = sorted(
        rows, key=lambda row: (row["thin"], -(row["rate_per_100"] or 0), row[dimension])
    )
    shown = ranked[:_MOST_BARS]
    # The lines of thin groups end where those of all others do, or they would flatten these.
    ends = [limits(row)[1] or 0.0 for row in shown if not row["thin"]]
    edge = max(ends, default=None)
    dots = [
        dot(
            name(row), row["rate_per_100"], *_cut(row, edge), row["thin"], rate_text(row)
        )
        for row in shown
        if row["rate_per_100"] is not None
    ]  # fmt: skip
    solid = [row for row in ranked if not row["thin"] and row["rate_per_100"] is not None]
    if not solid:
        says = "Too few failures to rank."
    else:
        who = group_phrase(dimension, name(solid[0]))
        most = "are most frequent" if dimension == "cause_class" else "fail most"
        says = f"{who[0].upper()}{who[1:]} {most}: {rate_text(solid[0])}"
        if overall is not None and overall["rate_per_100"] is not None:
            says += f", against {formats.number(overall['rate_per_100'])} for all units"
        says += "."
    # A slice by cause parts the failures only: everyone's time stands behind each.
    sample = exposure(rows)
    if dimension == "cause_class":
        failures = formats.counted(sum(row["failures"] for row in rows), "failure")
        sample = f"{failures} in {formats.number(rows[0]['unit_years'], 4)} unit-years."
    if len(rows) > len(shown):
        sample += f" The {len(shown)} with the highest rates are drawn; the table has all."
    table = [
        [
            name(row) + (" (thin)" if row["thin"] else ""),
            formats.whole(row["failures"]),
            formats.whole(row["units"]),
            formats.number(row["unit_years"], 4),
            formats.number(row["rate_per_100"]),
            formats.interval(row["low"], row["high"]),
            formats.interval(row["robust_low"], row["robust_high"]),
        ]
        for row in ranked
    ]
    columns = [
        title, "Failures", "Units", "Unit-years", "Per 100 unit-years", "95 % exact",
        "95 % robust",
    ]  # fmt: skip
    chart = {"rows": {"rows": dots}, "lists": {"names": [row["name"] for row in dots]}}
    return View(says, sample, {"rates": chart}, columns, table)


def _causes(field: Field, cuts: Cuts) -> Figure:
    views = {}
    for pick in field.picks:
        if pick.dimension in (ALL, "profile"):
            group = "profile"
            fixed = {} if pick.dimension == ALL else {"profile": pick.value}
            rows = cuts.rows("profile,cause_class", **fixed)
        elif pick.dimension == "family":
            group = "family"
            rows = cuts.rows("family,cause_class", family=pick.value)
        else:
            continue
        if rows:
            view = _causes_view(group, rows)
            views[f"*/{pick.key}"] = view
    return Figure(
        "causes",
        "Causes by water profile",
        [("cause_grid", "cause_grid")],
        views,
        layout="wide-chart",
        legend=[("l-hollow", "thin: not ranked")],
        reading="A cell is the failures of that cause per 100 unit-years in that water, deeper "
        "where it is higher.",
    )


def _causes_view(group: str, rows: list[Row]) -> View:
    solid = [row for row in rows if not row["thin"] and row["rate_per_100"]]
    top = max((row["rate_per_100"] for row in solid), default=0.0)
    groups = sorted({row[group] for row in rows})
    totals: dict[str, float] = {}
    for row in rows:
        cause = row["cause_class"]
        totals[cause] = totals.get(cause, 0) + row["failures"]
    causes = sorted(totals, key=lambda cause: (-totals[cause], cause))
    cells = [
        {
            "group": row[group],
            "cause": row["cause_class"],
            "step": "thin" if row["thin"] else step_of(row["rate_per_100"], top),
            "rate_text": formats.number(row["rate_per_100"], 2),
            "text": rate_text(row) + (" (thin)" if row["thin"] else ""),
        }
        for row in rows
    ]
    if solid:
        worst = max(solid, key=lambda row: row["rate_per_100"])
        who = group_phrase(group, worst[group])
        cause = worst["cause_class"].capitalize()
        says = f"{cause} failures of {who} are the most frequent pair: {rate_text(worst)}."
    else:
        says = "Too few failures in any cell to rank."
    table = [
        [
            row[group],
            row["cause_class"],
            formats.whole(row["failures"]),
            formats.number(row["unit_years"], 4),
            formats.number(row["rate_per_100"]) + (" (thin)" if row["thin"] else ""),
            formats.interval(*limits(row)),
        ]
        for row in sorted(rows, key=lambda row: (row[group], -row["failures"]))
        if row["failures"]
    ]
    columns = [
        group.capitalize(), "Cause", "Failures", "Unit-years", "Per 100 unit-years", "95 %",
    ]  # fmt: skip
    failures = formats.counted(sum(row["failures"] for row in rows), "failure")
    years = {row[group]: row["unit_years"] for row in rows}
    sample = f"{failures} in {formats.number(sum(years.values()), 4)} unit-years."
    chart = {"rows": {"rows": cells}, "lists": {"groups": groups, "causes": causes}}
    return View(says, sample, {"cause_grid": chart}, columns, table)
