"""Repeat failures: the mean number and cost of failures a unit has had by an age."""

from __future__ import annotations

from collections.abc import Sequence

from dashboards import formats
from dashboards.figures.behind import event_of, of_row, up_to
from dashboards.figures.curves import at_table_months, chart_of, curve_points, units_of
from dashboards.figures.cuts import ALL, Cuts, Field, Figure, Row, View

Groups = dict[str, list[Row]]
_COUNT, _COST = ("mean_count", "count_low", "count_high"), ("mean_cost", "cost_low", "cost_high")


def figures(field: Field, choices: Sequence[tuple[str, str]]) -> list[Figure]:
    """The figure of counts and cost, by the choices of the section; none without the tables."""
    curves, own = field.cuts("standard_curves"), field.cuts("repeat_failures")
    if curves is None or own is None:
        return []
    views = {}
    for choice, _ in choices:
        event, by = choice.split()
        groups = _families(own, event) if by == "family" else _standardized(curves, event, by)
        if groups:
            views[f"{choice}/{ALL}"] = _view(field, groups, event, by)
    return [
        Figure(
            "repeats",
            "Failures and cost a unit, by months in service",
            [("mean_count", "mean_count"), ("mean_cost", "mean_cost")],
            views,
            layout="pair",
            reading="Every failure counts, the first and those that follow: the mean cumulative "
            "count and cost a unit still watched, with 95 % limits robust to units that fail "
            "again. Weighed over families and ended as above.",
            handout="repeat_failures",
        )
    ]


def _families(cuts: Cuts, event: str) -> Groups:
    groups: Groups = {}
    for row in cuts.rows("family", event=event):
        if row["shown"] and row["mean_count"] is not None:
            groups.setdefault(row["family"], []).append(row)
    return groups


def _standardized(cuts: Cuts, event: str, by: str) -> Groups:
    """Counts and costs of one group and month in one row, as a family has them."""
    groups: Groups = {}
    for dims in (ALL, by):
        costs = {
            (row[by], row["months"]): row for row in cuts.rows(dims, kind="mean_cost", event=event)
        }
        for row in cuts.rows(dims, kind="mean_count", event=event):
            cost = costs.get((row[by], row["months"]), {})
            if row["value"] is None:
                continue
            made = dict(zip(_COUNT, (row["value"], row["low"], row["high"]), strict=True))
            made |= dict(zip(_COST, (cost.get(n) for n in ("value", "low", "high")), strict=True))
            groups.setdefault(row[by], []).append(row | made)
    return groups


def _view(field: Field, groups: Groups, event: str, by: str) -> View:
    currency = field.currency

    def behind(row: Row) -> str:
        return of_row(row, event=event_of(event), age_to=up_to(row["months"]))

    def count_text(row: Row) -> str:
        limits = formats.interval(row["count_low"], row["count_high"])
        return f"{formats.number(row['mean_count'])} ({limits}), {row['at_risk']:,} at risk"

    def cost_text(row: Row) -> str:
        limits = formats.interval(row["cost_low"], row["cost_high"])
        return f"{formats.number(row['mean_cost'])} {currency} ({limits})"

    charts = {
        "mean_count": chart_of(groups, curve_points(groups, _COUNT, count_text, behind), "Count"),
        "mean_cost": chart_of(groups, curve_points(groups, _COST, cost_text, behind), "Cost"),
    }
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
        for name, row in at_table_months(groups)
        if row["months"] > 0
    ]
    columns = [
        "Group", "Months", "At risk", "Failures a unit", "95 %", f"Cost a unit, {currency}",
        "95 % ",
    ]  # fmt: skip
    says = " ".join(
        field.cautions_of("standard_curves", ("mean_count", "mean_cost"), event_of(event) or "any")
    )
    of = "" if by == "family" else " of the smallest family"
    sample = f"Units at risk{of} at the start: {units_of(groups)}."
    return View(says, sample, charts, columns, table)
