"""How long units last: first failures by water and treatment, Weibull fits, competing causes."""

from __future__ import annotations

from typing import Any

from dashboards import formats
from dashboards.figures import first_causes
from dashboards.figures.curves import (
    TABLE_MONTHS,
    common_month,
    curve_phrase,
    curve_points,
    groups_of,
)
from dashboards.figures.cuts import (
    ALL,
    EVENT_CHOICES,
    EVENT_WORDS,
    PICKED,
    Cuts,
    Field,
    Figure,
    Row,
    Section,
    View,
    dot,
    slim,
)

_MOST_POINTS = 80


def section(field: Field) -> Section | None:
    """The section of lifetimes; None without the table of survival."""
    survival = field.cuts("survival")
    if survival is None:
        return None
    figures = [
        _survival(field, survival, "profile", "By water profile"),
        _survival(field, survival, "treatment", "By state of the treatment"),
    ]
    weibull, first = field.cuts("weibull"), field.cuts("first_causes")
    if weibull is not None:
        figures.append(_weibull(field, weibull))
    if first is not None:
        figures.append(first_causes.figure(field, first))
    return Section(
        "lifetimes",
        "How long until the first failure",
        [figure for figure in figures if figure.views],
        EVENT_CHOICES,
        "First failure",
        field.cautions("survival", "weibull", "first_causes"),
    )


def _survival(field: Field, cuts: Cuts, dimension: str, title: str) -> Figure:
    views = {}
    for event, _ in EVENT_CHOICES:
        for pick in field.picks:
            groups = groups_of(cuts, dimension, pick, event=event)
            if groups:
                views[f"{event}/{pick.key}"] = _survival_view(groups, event, dimension)
    return Figure(
        f"survival-{dimension}",
        title,
        [("survival", "survival")],
        views,
        reading="Share of units without such a failure (Kaplan–Meier; another cause does not end "
        "the watch), with 95 % log-log limits, up to the last month at which 20 units and 5 % of "
        "them are at risk.",
    )


def _survival_text(row: Row) -> str:
    limits = formats.bracketed(formats.percents(row["low"], row["high"], 1))
    return f"{formats.percent(row['survival'], 1)}{limits}, {row['at_risk']:,} at risk"


def _survival_view(groups: dict[str, list[Row]], event: str, dimension: str) -> View:
    month = common_month(groups)
    at_month = {
        name: next((row for row in rows if row["months"] == month), None)
        for name, rows in groups.items()
    }
    known = {
        name: row
        for name, row in at_month.items()
        if row is not None and row["survival"] is not None
    }
    says = "Too few units at risk to compare."
    if month and known:
        worst = min(known, key=lambda name: known[name]["survival"])
        best = max(known, key=lambda name: known[name]["survival"])
        says = f"By {month} months, {_share(dimension, worst, known[worst], event)}"
        says += f"; {_share(dimension, best, known[best])}." if best != worst else "."
    sample = formats.listed(
        [f"{name}: {max(row['at_risk'] for row in rows):,}" for name, rows in groups.items()]
    )
    points = curve_points(groups, ("survival", "low", "high"), _survival_text)
    table = [
        [
            name,
            str(row["months"]),
            formats.whole(row["at_risk"]),
            formats.whole(row["failures"]),
            formats.percent(row["survival"], 1),
            formats.percents(row["low"], row["high"], 1),
        ]
        for name, rows in groups.items()
        for row in rows
        if row["months"] in TABLE_MONTHS and row["shown"]
    ]
    columns = ["Group", "Months", "At risk", "Failed by then", "Without failure", "95 %"]
    chart = {"rows": {"rows": points}, "lists": {"groups": list(groups)}}
    return View(says, f"Units: {sample}.", {"survival": chart}, columns, table)


def _share(dimension: str, name: str, row: Row, event: str = "") -> str:
    what = f" have had no {EVENT_WORDS[event].replace('failures', 'failure')}" if event else ""
    limits = formats.bracketed(formats.percents(row["low"], row["high"]))
    return f"{formats.percent(row['survival'])}{limits} of {curve_phrase(dimension, name)}{what}"


def _weibull(field: Field, cuts: Cuts) -> Figure:
    views, plots = {}, field.cuts("probability_plot")
    for event, _ in EVENT_CHOICES:
        for pick in field.picks:
            if pick.dimension == ALL:
                rows = [row | {"name": "all"} for row in cuts.rows(ALL, event=event)]
                rows += [
                    row | {"name": row["profile"]} for row in cuts.rows("profile", event=event)
                ]
            else:
                found = cuts.rows(pick.dimension, event=event, **{pick.dimension: pick.value})
                rows = [row | {"name": pick.label} for row in found]
            fitted = [row for row in rows if row["shape"] is not None]
            if fitted:
                own = {name: fitted[0][name] for name in PICKED if pick.dimension == name}
                points = plots.rows(pick.dimension, event=event, **own) if plots else []
                points = [row for row in points if row["age_days"] is not None]
                views[f"{event}/{pick.key}"] = _weibull_view(fitted, points)
    return Figure(
        "weibull",
        "Does the rate rise with age?",
        [("weibull_shape", "weibull_shape"), ("probability_plot", "probability_plot")],
        views,
        reading="The shape of a Weibull fit to first failures, from 10 failures up: above 1 the "
        "rate rises with age, below 1 it falls. B10 and B50 are the ages by which 10 % and 50 % "
        "have failed. Beside it the first of the fits on a scale on which a Weibull life is a "
        "straight line: dots are the estimate without a law, the line is the fit with its limits. "
        "What lies beyond the months watched is marked as extrapolated.",
    )


def _plotted(points: list[Row]) -> dict[str, Any]:
    """At most `_MOST_POINTS` of the ages, evenly chosen by their order."""
    step = max(1, -(-len(points) // _MOST_POINTS))
    names = ("age_days", "failed", "fitted", "low", "high")
    return {
        "rows": {
            "rows": [
                {name: slim(row[name]) for name in names}
                | {"text": f"{formats.percent(row['failed'], 1)} failed"}
                for row in points[::step]
            ]
        },
        "title": "Does a Weibull life fit?",
    }


def _b10(row: Row) -> str:
    """The age by which a tenth has failed, where it was watched so long."""
    if row["thin"] or row["b10_months"] is None or row["b10_extrapolated"]:
        return ""
    limits = formats.interval(row["b10_low"], row["b10_high"])
    of = "all units" if row["name"] == ALL else row["name"]
    months = f"{formats.number(row['b10_months'])} months ({limits})"
    return f" By the fit 10 % of {of} have failed by {months}."


def _age(row: Row, name: str, value: str) -> str:
    mark = " (extrapolated)" if row[f"{name}_extrapolated"] else ""
    return formats.number(row[value]) + mark


def _weibull_view(rows: list[Row], points: list[Row]) -> View:
    rising = [row["name"] for row in rows if (row["shape_low"] or 0) > 1]
    falling = [row["name"] for row in rows if row["shape_high"] and row["shape_high"] < 1]
    parts = []
    if rising:
        parts.append(f"The rate rises with age for {formats.listed(rising)}")
    if falling:
        parts.append(
            f"{'it' if rising else 'The rate'} falls with age for {formats.listed(falling)}"
        )
    says = "; ".join(parts) + "." if parts else "No group’s rate clearly rises or falls with age."
    dots = [
        dot(
            row["name"], row["shape"], row["shape_low"], row["shape_high"], row["thin"],
            f"{formats.number(row['shape'])} "
            f"({formats.interval(row['shape_low'], row['shape_high'])})",
        )
        for row in rows
    ]  # fmt: skip
    table = [
        [
            row["name"],
            formats.number(row["shape"]),
            formats.interval(row["shape_low"], row["shape_high"]),
            _age(row, "scale", "scale_months"),
            formats.interval(row["scale_low"], row["scale_high"]),
            _age(row, "b10", "b10_months"),
            formats.interval(row["b10_low"], row["b10_high"]),
            _age(row, "b50", "b50_months"),
            formats.interval(row["b50_low"], row["b50_high"]),
            formats.whole(row["watched_to"]),
        ]
        for row in rows
    ]
    columns = [
        "Group", "Shape", "95 %", "Scale, months", "95 % ", "B10, months", "95 %  ",
        "B50, months", "95 %   ", "Watched to, months",
    ]  # fmt: skip
    charts: dict[str, Any] = {
        "weibull_shape": {
            "rows": {"rows": dots},
            "lists": {"names": [row["name"] for row in dots]},
        }
    }
    if points:
        charts["probability_plot"] = _plotted(points)
    sample = f"{formats.counted(len(rows), 'fit')}."
    return View(says + _b10(rows[0]), sample, charts, columns, table)
