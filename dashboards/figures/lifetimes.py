"""How long units last: first failures by water and treatment, Weibull fits, competing causes."""

from __future__ import annotations

from dashboards import formats
from dashboards.figures.cuts import (
    ALL,
    EVENT_CHOICES,
    EVENT_WORDS,
    Cuts,
    Field,
    Figure,
    Pick,
    Row,
    Section,
    View,
    dot,
    group_phrase,
    slim,
)
from schemas.histories import PROFILE_WORDS

_MOST_GROUPS = 5
_FEWEST_AT_RISK = 10
_CHART_STEP = 3
_TABLE_MONTHS = (0, 6, 12, 18, 24, 36, 48, 60)


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
        figures.append(_first_causes(field, first))
    return Section(
        "lifetimes",
        "How long until the first failure",
        [figure for figure in figures if figure.views],
        EVENT_CHOICES,
        "First failure",
        field.cautions("survival", "weibull", "first_causes"),
    )


def groups_of(cuts: Cuts, dimension: str, pick: Pick, **fixed: str) -> dict[str, list[Row]]:
    """Curves to draw for a pick: name -> rows by month; those of most units, the whole first."""
    whole = cuts.rows(ALL, **fixed)
    if pick.dimension == ALL:
        rows = cuts.rows(dimension, **fixed)
    elif pick.dimension == dimension:
        rows = cuts.rows(dimension, **{dimension: pick.value}, **fixed)
    elif dimension == "profile" and pick.dimension == "region":
        rows = cuts.rows("region,profile", region=pick.value, **fixed)
    elif dimension == "profile" and pick.dimension == "family":
        rows = [row | {dimension: row["family"]} for row in cuts.rows(
            "family", family=pick.value, **fixed
        )]  # fmt: skip
    else:
        rows = []
    curves: dict[str, list[Row]] = {}
    for row in rows:
        curves.setdefault(row[dimension], []).append(row)
    kept = {
        name: points
        for name, points in curves.items()
        if max(point["at_risk"] for point in points) >= _FEWEST_AT_RISK
    }
    largest = sorted(kept, key=lambda name: (-max(p["at_risk"] for p in kept[name]), name))
    if not kept:
        return {}
    found = {name: kept[name] for name in largest[:_MOST_GROUPS]}
    return ({"all": whole} if whole else {}) | found


def curve_points(groups: dict[str, list[Row]], columns: tuple[str, str, str], text) -> list[Row]:
    """Chart rows of curves, thinned to every few months, while enough units are at risk."""
    value, low, high = columns
    return [
        {
            "group": name,
            "months": row["months"],
            "value": slim(row[value]),
            "low": slim(row[low]),
            "high": slim(row[high]),
            "text": text(row),
        }
        for name, rows in groups.items()
        for row in rows
        if row["months"] % _CHART_STEP == 0
        and row[value] is not None
        and row["at_risk"] >= _FEWEST_AT_RISK
    ]


def common_month(groups: dict[str, list[Row]]) -> int:
    """The latest half-year at which every curve still has enough units at risk."""
    last = [
        max((row["months"] for row in rows if row["at_risk"] >= _FEWEST_AT_RISK), default=0)
        for rows in groups.values()
    ]
    return min(last, default=0) // 6 * 6


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
    return (
        f"{formats.percent(row['survival'], 1)} ({formats.percent(row['low'], 1)} to "
        f"{formats.percent(row['high'], 1)}), {row['at_risk']:,} at risk"
    )


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
            f"{formats.percent(row['low'], 1)} to {formats.percent(row['high'], 1)}",
        ]
        for name, rows in groups.items()
        for row in rows
        if row["months"] in _TABLE_MONTHS
    ]
    columns = ["Group", "Months", "At risk", "Failed by then", "Without failure", "95 %"]
    chart = {"rows": {"rows": points}, "lists": {"groups": list(groups)}}
    return View(says, f"Units: {sample}.", {"survival": chart}, columns, table)


def _share(dimension: str, name: str, row: Row, event: str = "") -> str:
    what = f" have had no {EVENT_WORDS[event].replace('failures', 'failure')}" if event else ""
    limits = f"{formats.percent(row['low'])} to {formats.percent(row['high'])}"
    return f"{formats.percent(row['survival'])} ({limits}) of {curve_phrase(dimension, name)}{what}"


def curve_phrase(dimension: str, name: str) -> str:
    """A curve as the subject of a sentence."""
    # A picked family stands among the profiles' curves under its own name.
    known = dimension != "profile" or name in (ALL, *PROFILE_WORDS)
    return group_phrase(dimension if known else "family", name)


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


def _first_causes(field: Field, cuts: Cuts) -> Figure:
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
        largest = sorted(curves, key=lambda name: (-_last(curves[name]), name))[:_MOST_GROUPS]
        if largest:
            views[f"*/{pick.key}"] = _first_view({name: curves[name] for name in largest})
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


def _first_view(groups: dict[str, list[Row]]) -> View:
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
        says = (
            f"By {month} months, {formats.percent(row['incidence'], 1)} "
            f"({formats.percent(row['low'], 1)} to {formats.percent(row['high'], 1)}) of units "
            f"have failed first by {first}."
        )

    def text(row: Row) -> str:
        return (
            f"{formats.percent(row['incidence'], 1)} ({formats.percent(row['low'], 1)} to "
            f"{formats.percent(row['high'], 1)}), {row['at_risk']:,} at risk"
        )

    points = curve_points(groups, ("incidence", "low", "high"), text)
    table = [
        [
            name,
            str(row["months"]),
            formats.whole(row["at_risk"]),
            formats.percent(row["incidence"], 1),
            f"{formats.percent(row['low'], 1)} to {formats.percent(row['high'], 1)}",
        ]
        for name, rows in groups.items()
        for row in rows
        if row["months"] in _TABLE_MONTHS
    ]
    units = max(row["at_risk"] for rows in groups.values() for row in rows)
    return View(
        says,
        f"{formats.counted(units, 'unit')}.",
        {"incidence": {"rows": {"rows": points}, "lists": {"groups": list(groups)}}},
        ["Cause", "Months", "At risk", "Failed first by it", "95 %"],
        table,
    )
