"""The way of units on the page of start-ups: the rows of its chart and of its table, by slice.

Belongs here: words and numbers of the steps. Does not belong here: the chart itself
(`charts.way_of_units`), the rest of the page (`startups`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import quote

import polars as pl

from dashboards import formats
from schemas import codes

STEP_WORDS = {
    "purchased": "Purchased",
    "requested": "Start-up asked for",
    "completed": "Start-up completed",
    "sampled": "Water sampled",
    "reported": "Result reported",
    "bought": "Treatment bought",
    "installed": "Treatment installed",
}


def slices_of(rates: pl.DataFrame) -> dict[str, dict[str, list[dict[str, Any]]]]:
    """The rows of `journey_rates` by dimension and value."""
    slices: dict[str, dict[str, list[dict[str, Any]]]] = {}
    for row in rates.to_dicts():
        slices.setdefault(row["by"], {}).setdefault(row["value"], []).append(row)
    return slices


def way_chart(rows: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """The chart's rows of one slice."""
    points = [
        {
            "name": STEP_WORDS[row["step"]],
            "value": row["share_90"],
            "low": row["share_90_low"],
            "high": row["share_90_high"],
            "thin": row["thin"],
            "text": f"{_share(row, 90)}; half within {_median(row)}",
            "median": f"half within {_median(row)}" if row["median_days"] is not None else "",
        }
        for row in rows
        if row["share_90"] is not None
    ]
    names = [STEP_WORDS[step] for step in codes.JOURNEY_STEPS[1:]]
    return formats.packed({"rows": {"rows": points}, "lists": {"names": names}})


def steps_table(rows: Sequence[Mapping[str, Any]], by: str, value: str) -> list[list[Any]]:
    """The table of one slice: step, units and reached with their addresses, median, shares."""
    table = []
    for row in rows:
        address = f"#ways?from={row['from_step']}"
        if row["step"] in ("bought", "installed"):
            address += "&needs=yes"
        if by != "all":
            address += f"&{by}={quote(value)}"
        table.append(
            [
                STEP_WORDS[row["step"]] + (" (thin)" if row["thin"] else ""),
                [formats.whole(row["units"]), address],
                [formats.whole(row["reached"]), f"{address}&to={row['step']}"],
                _median(row),
                *(_share(row, days) for days in (30, 60, 90, 180)),
            ]
        )
    return table


def _share(row: Mapping[str, Any], days: int) -> str:
    value, low, high = (row[f"share_{days}{end}"] for end in ("", "_low", "_high"))
    if value is None:
        return "–"
    limits = f" ({low:.0%} to {high:.0%})" if low is not None else ""
    return f"{value:.0%}{limits}"


def _median(row: Mapping[str, Any]) -> str:
    return "–" if row["median_days"] is None else formats.days(row["median_days"])
