"""How long units last: first failures standardized over families, Weibull fits, causes, counts."""

from __future__ import annotations

from dashboards import formats
from dashboards.figures import first_causes, life_fits, repeats
from dashboards.figures.behind import count, event_of, selection, up_to
from dashboards.figures.curves import (
    MOST_GROUPS,
    at_table_months,
    chart_of,
    curve_points,
    units_of,
)
from dashboards.figures.cuts import ALL, Cuts, Field, Figure, Row, Section, View

# Which failures, and what parts the curves; a family's own curve is not standardized.
CHOICES = (
    ("water treatment", "Water-caused, by treatment"),
    ("water family", "Water-caused, by family"),
    ("water startup", "Water-caused, by start-up"),
    ("any treatment", "Any cause, by treatment"),
    ("any family", "Any cause, by family"),
    ("any startup", "Any cause, by start-up"),
)
Groups = dict[str, list[Row]]


def section(field: Field) -> Section | None:
    """The section of lifetimes; None without curves."""
    curves, survival = field.cuts("standard_curves"), field.cuts("survival")
    if curves is None:
        return None
    views = {}
    for choice, _ in CHOICES:
        event, by = choice.split()
        if by == "family":
            groups = of_families(survival, event)
        else:
            groups = standardized(curves, "survival", event, by)
        if groups:
            views[f"{choice}/{ALL}"] = _view(field, groups, event, by)
    figures = [
        Figure(
            "survival",
            "Units without a failure, by months in service",
            [("survival", "survival")],
            views,
            reading="The share of units without such a failure (Kaplan–Meier; another cause does "
            "not end the watch), with 95 % log-log limits and the units at risk below. Curves of "
            "groups that are no family weigh each family by its share of all units, since cover "
            "ends at different ages; they end where one of these has fewer than 10 units at risk, "
            "and a group that lacks one has none. A family’s curve ends where fewer than 20 units, "
            "or 5 % of them, are at risk.",
            handout="standard_curves",
        ),
        *repeats.figures(field, CHOICES),
        *first_causes.figures(field),
        *life_fits.figures(field),
    ]
    return Section(
        "lifetimes",
        "How long until the first failure, and how failures add up",
        [figure for figure in figures if figure.views],
        [choice for choice in CHOICES if f"{choice[0]}/{ALL}" in views],
        "Show",
        list(dict.fromkeys(field.cautions_of_events("standard_curves", ALL))),
    )


def standardized(cuts: Cuts, kind: str, event: str, by: str) -> Groups:
    """All units together and the largest groups: name -> rows by month."""
    rows = [("all", row) for row in cuts.rows(ALL, kind=kind, event=event)]
    rows += [(row[by], row) for row in cuts.rows(by, kind=kind, event=event)]
    return _largest(rows, "value")


def of_families(cuts: Cuts | None, event: str) -> Groups:
    """The families' own curves."""
    rows = cuts.rows("family", event=event) if cuts else []
    named_rows = [(row["family"], row | {"value": row["survival"]}) for row in rows if row["shown"]]
    return _largest(named_rows, "value")


def _largest(named_rows: list[tuple[str, Row]], value: str) -> Groups:
    """Up to five groups by the units that they begin with, `all` always first."""
    curves: Groups = {}
    for name, row in named_rows:
        if row[value] is not None:
            curves.setdefault(name, []).append(row)
    others = sorted(
        (name for name in curves if name != "all"),
        key=lambda name: (-max(row["at_risk"] for row in curves[name]), name),
    )
    first = ["all"] if "all" in curves else []
    return {name: curves[name] for name in [*first, *others[:MOST_GROUPS]]}


def behind_first(row: Row, event: str) -> str:
    """The first failures of a curve's group up to its age."""
    dims = {name: row[name] for name in row["by"].split(",") if name != ALL}
    return selection(**dims, first=event, age_to=up_to(row["months"]))


def without_curve(field: Field, groups: Groups, by: str) -> str:
    """The groups that have no curve, as a sentence; empty where all have one."""
    rates = field.cuts("rates")
    every = [row[by] for row in rates.rows(by)] if rates else []
    gone = sorted(name for name in every if name not in groups)
    return f" Without a curve, for want of units at risk: {formats.listed(gone)}." if gone else ""


def _view(field: Field, groups: Groups, event: str, by: str) -> View:
    def text(row: Row) -> str:
        limits = formats.bracketed(formats.percents(row["low"], row["high"], 1))
        return f"{formats.percent(row['value'], 1)}{limits}, {row['at_risk']:,} at risk"

    points = curve_points(
        groups, ("value", "low", "high"), text, lambda row: behind_first(row, event)
    )
    has_counts = all("failures" in row for rows in groups.values() for row in rows)
    table = [
        [
            name,
            str(row["months"]),
            formats.whole(row["at_risk"]),
            *([count(row["failures"], behind_first(row, event))] if has_counts else []),
            formats.percent(row["value"], 1),
            formats.percents(row["low"], row["high"], 1),
        ]
        for name, row in at_table_months(groups)
    ]
    columns = [
        "Group", "Months", "At risk", *(["Failed by then"] if has_counts else []),
        "Without failure", "95 %",
    ]  # fmt: skip
    says = field.sentence("standard_curves", "survival", event_of(event) or "any")
    of = "" if by == "family" else " of the smallest family"
    sample = f"Units at risk{of} at the start: {units_of(groups)}."
    sample += without_curve(field, groups, by)
    return View(says, sample, {"survival": chart_of(groups, points)}, columns, table)
