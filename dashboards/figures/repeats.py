"""Repeat failures: the mean number and cost of failures a unit has had by an age."""

from __future__ import annotations

from dashboards import formats
from dashboards.figures.curves import common_month, curve_phrase, curve_points, groups_of
from dashboards.figures.cuts import EVENT_CHOICES, EVENT_WORDS, Field, Figure, Row, Section, View

_TABLE_MONTHS = (6, 12, 18, 24, 36, 48, 60)


def section(field: Field) -> Section | None:
    """The section of repeat failures; None without the table."""
    cuts = field.cuts("repeat_failures")
    if cuts is None:
        return None
    views = {}
    for event, _ in EVENT_CHOICES:
        for pick in field.picks:
            groups = groups_of(cuts, "profile", pick, event=event)
            if groups:
                views[f"{event}/{pick.key}"] = _view(groups, event, field.currency)
    if not views:
        return None
    figure = Figure(
        "repeats",
        "Failures and cost a unit by age",
        [("mean_count", "mean_count"), ("mean_cost", "mean_cost")],
        views,
        layout="pair",
        reading="Mean cumulative count and cost a unit, every failure counted, with 95 % limits "
        "robust to units that fail again.",
    )
    return Section(
        "repeats",
        "How failures and cost add up",
        [figure],
        EVENT_CHOICES,
        "Count",
        field.cautions("repeat_failures"),
    )


def _view(groups: dict[str, list[Row]], event: str, currency: str) -> View:
    def count_text(row: Row) -> str:
        limits = formats.interval(row["count_low"], row["count_high"])
        return f"{formats.number(row['mean_count'])} ({limits}), {row['at_risk']:,} at risk"

    def cost_text(row: Row) -> str:
        limits = formats.interval(row["cost_low"], row["cost_high"])
        return f"{formats.number(row['mean_cost'])} {currency} ({limits})"

    counts = curve_points(groups, ("mean_count", "count_low", "count_high"), count_text)
    costs = curve_points(groups, ("mean_cost", "cost_low", "cost_high"), cost_text)
    month = common_month(groups)
    known = {
        name: row
        for name, rows in groups.items()
        for row in rows
        if row["months"] == month and row["mean_count"] is not None
    }
    says = "Too few units at risk to compare."
    if month and known:
        worst = max(known, key=lambda name: known[name]["mean_count"])
        row = known[worst]
        limits = formats.bracketed(formats.interval(row["count_low"], row["count_high"], 2))
        count = formats.number(row["mean_count"], 2)
        says = (
            f"By {month} months, {curve_phrase('profile', worst)} have had {count}{limits} "
            f"{EVENT_WORDS[event]} each"
        )
        if row["mean_cost"] is not None:
            says += f" at a cost of {formats.number(row['mean_cost'])} {currency}"
        says += "."
    table = [
        [
            name,
            str(row["months"]),
            formats.whole(row["at_risk"]),
            formats.number(row["mean_count"]),
            formats.interval(row["count_low"], row["count_high"]),
            formats.number(row["mean_cost"]),
            formats.interval(row["cost_low"], row["cost_high"]),
        ]
        for name, rows in groups.items()
        for row in rows
        if row["months"] in _TABLE_MONTHS and row["shown"]
    ]
    sample = formats.listed(
        [f"{name}: {max(row['at_risk'] for row in rows):,}" for name, rows in groups.items()]
    )
    lists = {"groups": list(groups)}
    charts = {
        "mean_count": {"rows": {"rows": counts}, "lists": lists, "title": "Failures"},
        "mean_cost": {"rows": {"rows": costs}, "lists": lists, "title": "Cost"},
    }
    columns = [
        "Group", "Months", "At risk", "Failures a unit", "95 %", f"Cost a unit, {currency}",
        "95 % ",
    ]  # fmt: skip
    return View(says, f"Units: {sample}.", charts, columns, table)
