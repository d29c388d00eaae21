"""How long units last: first failures by water and treatment, Weibull fits, competing causes."""

from __future__ import annotations

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
    Cuts,
    Field,
    Figure,
    Row,
    Section,
    View,
    dot,
)


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
        "the watch), with 95 % log-log limits, while 10 units or more are at risk.",
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
        if row["months"] in TABLE_MONTHS
    ]
    columns = ["Group", "Months", "At risk", "Failed by then", "Without failure", "95 %"]
    chart = {"rows": {"rows": points}, "lists": {"groups": list(groups)}}
    return View(says, f"Units: {sample}.", {"survival": chart}, columns, table)


def _share(dimension: str, name: str, row: Row, event: str = "") -> str:
    what = f" have had no {EVENT_WORDS[event].replace('failures', 'failure')}" if event else ""
    limits = formats.bracketed(formats.percents(row["low"], row["high"]))
    return f"{formats.percent(row['survival'])}{limits} of {curve_phrase(dimension, name)}{what}"


def _weibull(field: Field, cuts: Cuts) -> Figure:
    views = {}
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
                views[f"{event}/{pick.key}"] = _weibull_view(fitted)
    return Figure(
        "weibull",
        "Does the rate rise with age?",
        [("weibull_shape", "weibull_shape")],
        views,
        reading="The shape of a Weibull fit to first failures, from 10 failures up: above 1 the "
        "rate rises with age, below 1 it falls.",
    )


def _weibull_view(rows: list[Row]) -> View:
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
            formats.number(row["scale_months"]),
            formats.interval(row["scale_low"], row["scale_high"]),
        ]
        for row in rows
    ]
    columns = ["Group", "Shape", "95 %", "Scale, months", "95 % "]
    chart = {"rows": {"rows": dots}, "lists": {"names": [row["name"] for row in dots]}}
    sample = f"{formats.counted(len(rows), 'fit')}."
    return View(says, sample, {"weibull_shape": chart}, columns, table)
