"""Curves over months in service: their points, the units at risk below them, their rows.

Belongs here: what all curves share. Does not belong here: any one figure.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from dashboards import formats
from dashboards.figures.cuts import Row, slim

MOST_GROUPS = 5
TABLE_MONTHS = (0, 6, 12, 18, 24, 36, 48, 60)
# Pixels below the axis at which the units at risk are told, a line a group.
_RISK_TOP, _RISK_LINE, _HEIGHT = 74, 16, 300

Groups = Mapping[str, Sequence[Row]]


def curve_points(
    groups: Groups,
    columns: tuple[str, str, str],
    text: Callable[[Row], str],
    to: Callable[[Row], str],
) -> list[Row]:
    """Chart rows of curves, month by month, up to their ends; `to` selects what is behind each."""
    value, low, high = columns
    return [
        {
            "group": name,
            "months": row["months"],
            "value": slim(row[value]),
            "low": slim(row[low]),
            "high": slim(row[high]),
            "text": text(row),
            "to": to(row),
        }
        for name, rows in groups.items()
        for row in rows
        if row[value] is not None and row.get("shown", True)
    ]


def at_risk(groups: Groups, most_months: int) -> dict[str, list[Row]]:
    """The lines below a curve: the units at risk of each group, every so many months.

    `risk` has a number a group and month, `named` the group's name before its line.
    """
    step = 3 if most_months <= 18 else 6 if most_months <= 48 else 12
    top = _HEIGHT + _RISK_TOP
    risk: list[Row] = []
    labels: list[Row] = [{"group": "", "months": 0, "label": "At risk ", "y": top - _RISK_LINE}]
    for place, (name, rows) in enumerate(groups.items()):
        y = top + _RISK_LINE * place
        labels.append({"group": name, "months": 0, "label": f"{name} ", "y": y})
        risk += [
            {"group": name, "months": row["months"], "label": f"{row['at_risk']:,}", "y": y}
            for row in rows
            if row["months"] % step == 0 and row["months"] <= most_months and row.get("shown", True)
        ]
    return {"risk": risk, "named": labels}


def chart_of(groups: Groups, points: list[Row], title: str = "") -> dict[str, Any]:
    """The parts of a chart of curves."""
    last = max((point["months"] for point in points), default=0)
    part: dict[str, Any] = {
        "rows": {"rows": points, **at_risk(groups, last)},
        "lists": {"groups": list(groups)},
    }
    return part | {"title": title} if title else part


def at_table_months(groups: Groups) -> list[tuple[str, Row]]:
    """The rows that a table has: whole half-years, then years."""
    return [
        (name, row)
        for name, rows in groups.items()
        for row in rows
        if row["months"] in TABLE_MONTHS and row.get("shown", True)
    ]


def units_of(groups: Groups) -> str:
    """How many units each curve begins with."""
    return formats.listed(
        [f"{name}: {max(row['at_risk'] for row in rows):,}" for name, rows in groups.items()]
    )
