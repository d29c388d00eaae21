"""Curves over months in service: which to draw for a pick, their points, and where to compare.

Belongs here: what all curves share. Does not belong here: any one figure.
"""

from __future__ import annotations

from collections.abc import Callable

from dashboards.figures.cuts import ALL, Cuts, Pick, Row, group_phrase, slim
from schemas.histories import PROFILE_WORDS

MOST_GROUPS = 5
TABLE_MONTHS = (0, 6, 12, 18, 24, 36, 48, 60)


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
        name: points for name, points in curves.items() if any(point["shown"] for point in points)
    }
    largest = sorted(kept, key=lambda name: (-max(p["at_risk"] for p in kept[name]), name))
    if not kept:
        return {}
    found = {name: kept[name] for name in largest[:MOST_GROUPS]}
    shown = any(point["shown"] for point in whole)
    return ({"all": whole} if shown else {}) | found


def curve_points(
    groups: dict[str, list[Row]], columns: tuple[str, str, str], text: Callable[[Row], str]
) -> list[Row]:
    """Chart rows of curves, month by month, up to their ends."""
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
        if row[value] is not None and row["shown"]
    ]


def common_month(groups: dict[str, list[Row]]) -> int:
    """The latest half-year that every curve reaches."""
    last = [
        max((row["months"] for row in rows if row["shown"]), default=0) for rows in groups.values()
    ]
    return min(last, default=0) // 6 * 6


def curve_phrase(dimension: str, name: str) -> str:
    """A curve as the subject of a sentence."""
    # A picked family stands among the profiles' curves under its own name.
    known = dimension != "profile" or name in (ALL, *PROFILE_WORDS)
    return group_phrase(dimension if known else "family", name)
