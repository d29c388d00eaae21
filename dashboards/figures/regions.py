"""Regions: what is left once water, family and age are allowed for, on a map and as a funnel."""

from __future__ import annotations

from typing import Any

from dashboards import formats
from dashboards.charts.categories import BANDS, OPEN, THIN
from dashboards.figures.behind import count, event_of, selection
from dashboards.figures.cuts import (
    ALL,
    EVENT_CHOICES,
    Field,
    Figure,
    Row,
    Section,
    View,
    exposure,
    funnel_lines,
    slim,
)

_EDGES = (0.5, 0.8, 1.25, 2.0)


def section(field: Field) -> Section | None:
    """The section of regions; None without the table."""
    cuts = field.cuts("regions")
    if cuts is None or not cuts.rows("region"):
        return None
    views = {
        f"{event}/{ALL}": _view(field, rows, event)
        for event, _ in EVENT_CHOICES
        if (rows := cuts.rows("region", event=event))
    }
    drawn = next(iter(views.values())).charts
    charts = [("adjusted_map", "tile_map"), ("funnel", "funnel")]
    figure = Figure(
        "regions",
        "Regions against all regions together",
        [chart for chart in charts if chart[0] in drawn],
        views,
        layout="wide-chart",
        reading="On the map the ratio once the water of each day, family and age are allowed for, "
        "with its 95 % limits; only where these leave 1 out a tile has a color. In the funnel the "
        "crude ratio, water included: it shows how far regions differ and flags nobody; dashed "
        "lines hold 95 %, full lines 99.8 % of regions that differ by chance alone.",
        handout="regions",
    )
    return Section(
        "regions",
        "Where units fail",
        [figure],
        EVENT_CHOICES,
        "Show",
        field.cautions(("clock_starts", "region")),
    )


def behind_region(row: Row) -> str:
    """The failures of a region."""
    return selection(region=row["region"], event=event_of(row["event"]))


def band(row: Row) -> str:
    """How a tile is shaded: by the adjusted ratio, where its limits leave 1 out."""
    ratio, low, high = (row[f"adjusted_{name}"] for name in ("ratio", "low", "high"))
    if row["thin"] or ratio is None:
        return THIN
    if low is None or high is None or low <= 1 <= high:
        return OPEN
    return BANDS[sum(ratio >= edge for edge in _EDGES)]


def _view(field: Field, rows: list[Row], event: str) -> View:
    charts: dict[str, Any] = {}
    placed = [(row, place) for row in rows if (place := _place(field, row["region"])) is not None]
    if placed:
        tiles = [_tile(field, row, place) for row, place in placed]
        charts["adjusted_map"] = {
            "rows": {"rows": tiles},
            "title": "Ratio to all regions, water, family and age allowed for",
        }
    charts["funnel"] = _funnel(field, rows)
    sample = exposure(rows) + _not_drawn(field, rows, placed)
    says = field.sentence("regions", "region", event)
    return View(says, sample, charts, _COLUMNS, _table(field, rows))


def _not_drawn(field: Field, rows: list[Row], placed: list[tuple[Row, Any]]) -> str:
    """Which regions a chart cannot show, and why."""
    there = {row["region"] for row, _ in placed}
    nowhere = [field.region_name(row["region"]) for row in rows if row["region"] not in there]
    unknown = [field.region_name(row["region"]) for row in rows if row["adjusted_ratio"] is None]
    parted = [field.region_name(row["region"]) for row in rows if row["confounded"]]
    parts = [
        f" {formats.listed(names)} {'is' if len(names) == 1 else 'are'} {why}."
        for names, why in (
            (nowhere, "not on the map, for want of a place in the reference file"),
            (unknown, "without an adjusted ratio"),
        )
        if names
    ]
    if parted:
        parts.append(
            f" In {formats.listed(parted)} region and water hardly overlap: no method can part "
            "them."
        )
    return "".join(parts)


def _place(field: Field, region: str) -> tuple[float, float] | None:
    place = field.regions.get(region) or {}
    row, column = place.get("tile_row"), place.get("tile_col")
    return None if row is None or column is None else (row, column)


def _tile(field: Field, row: Row, place: tuple[float, float]) -> Row:
    text = f"{_adjusted(row)} times, {formats.counted(row['failures'], 'failure')}"
    known = row["adjusted_ratio"] is not None
    return {
        "region": row["region"],
        "name": field.region_name(row["region"]),
        "label": row["region"].rpartition("-")[2],
        "ratio": formats.number(row["adjusted_ratio"], 2) if known else "",
        "limits": _short_limits(row) if known else "",
        "row": place[0],
        "col": place[1],
        "band": band(row),
        "text": text + (" (thin)" if row["thin"] else ""),
        "to": behind_region(row),
    }


def _short_limits(row: Row) -> str:
    low, high = row["adjusted_low"], row["adjusted_high"]
    if low is None or high is None:
        return ""
    return f"{formats.number(low, 2)}–{formats.number(high, 2)}"


def _funnel(field: Field, rows: list[Row]) -> dict[str, Any]:
    measured = sorted(
        (row for row in rows if row["expected"] and row["crude_ratio"] is not None),
        key=lambda row: row["expected"],
    )
    dots = [
        {
            "region": row["region"],
            "name": field.region_name(row["region"]),
            "expected": slim(row["expected"]),
            "ratio": slim(row["crude_ratio"]),
            "flagged": False,  # the crude funnel shows how far regions differ and blames none
            "text": f"{formats.number(row['crude_ratio'])} times, "
            f"{row['failures']:,} for {formats.number(row['expected'])} expected",
            "to": behind_region(row),
        }
        for row in measured
    ]
    return {
        "rows": {"rows": dots, "limits": funnel_lines(measured)},
        "title": "Crude ratio, water included",
    }


def _adjusted(row: Row) -> str:
    limits = formats.interval(row["adjusted_low"], row["adjusted_high"])
    return f"{formats.number(row['adjusted_ratio'])}{formats.bracketed(limits)}"


_COLUMNS = [
    "Region", "Failures", "Expected", "Unit-years", "Per 100 unit-years", "95 %", "Shrunk",
    "Crude ratio", "Adjusted ratio", "95 % ", "p", "q", "Stands out",
]  # fmt: skip


def _table(field: Field, rows: list[Row]) -> list[list[Any]]:
    ranked = sorted(rows, key=lambda row: (row["thin"], -(row["crude_ratio"] or 0), row["region"]))
    return [
        [
            f"{field.region_name(row['region'])}{' (thin)' if row['thin'] else ''}",
            count(row["failures"], behind_region(row)),
            formats.number(row["expected"]),
            formats.number(row["unit_years"], 4),
            formats.number(row["rate_per_100"]),
            formats.interval(row["low"], row["high"]),
            formats.number(row["shrunk_per_100"]),
            formats.number(row["crude_ratio"]),
            formats.number(row["adjusted_ratio"]),
            formats.interval(row["adjusted_low"], row["adjusted_high"]),
            formats.number(row["adjusted_p_value"], 2),
            formats.number(row["adjusted_q_value"], 2),
            "cannot be told" if row["confounded"] else row["direction"] or "no",
        ]
        for row in ranked
    ]
