"""Regions: a tile map and a funnel, and what is left once water, family and age are allowed for."""

from __future__ import annotations

from typing import Any

from dashboards import formats
from dashboards.charts.categories import BANDS, THIN
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
    exposure,
    funnel_lines,
    slim,
)

_EDGES = (0.5, 0.8, 1.25, 2.0)
_MOST_PAIRS = 16
_FEWEST_NAMED = 10  # failures, below which no sentence names a region


def section(field: Field) -> Section | None:
    """The section of regions; None without the table."""
    cuts = field.cuts("regions")
    if cuts is None or not cuts.rows("region"):
        return None
    views = {
        f"{event}/{pick.key}": _view(field, rows, event, pick)
        for event, _ in EVENT_CHOICES
        for pick in field.picks
        if (rows := _rows(cuts, event, pick))
    }
    drawn = next(iter(views.values())).charts
    charts = [
        ("crude_map", "tile_map"),
        ("adjusted_map", "tile_map"),
        ("funnel", "funnel"),
        ("ratio_pairs", "ratio_pairs"),
    ]
    figure = Figure(
        "regions",
        "Regions against all regions together",
        [chart for chart in charts if chart[0] in drawn],
        views,
        layout="pair",
        reading="Left the ratio as it is; beside it what is left once the water of each day, "
        "family and age are allowed for: that alone says whether a region stands out. The "
        "funnel’s dashed lines hold 95 %, the full lines 99.8 % of regions that differ by chance "
        "alone, water included. In the last chart the ring is the crude ratio, the dot the "
        "adjusted with its interval.",
    )
    return Section(
        "regions", "Where units fail", [figure], EVENT_CHOICES, "Show", field.cautions("regions")
    )


def _rows(cuts: Cuts, event: str, pick: Pick) -> list[Row]:
    if pick.dimension == "profile":
        return cuts.rows("region,profile", profile=pick.value, event=event)
    if pick.dimension == "family":
        return cuts.rows("family,region", family=pick.value, event=event)
    return cuts.rows("region", event=event)


def _band(ratio: float | None, thin: bool) -> str:
    if thin or ratio is None:
        return THIN
    return BANDS[sum(ratio >= edge for edge in _EDGES)]


def _view(field: Field, rows: list[Row], event: str, pick: Pick) -> View:
    if pick.dimension == "region":
        picked = [row for row in rows if row["region"] == pick.value]
        if not picked:
            return View("No unit is watched there.", "", {}, [], [], same_as=f"{event}/{ALL}")
        says = _says_one(field, picked[0], event) + _apart(field, picked)
        return View(says, exposure(picked), {}, [], [], same_as=f"{event}/{ALL}")
    charts: dict[str, Any] = {}
    places = ((row, _place(field, row["region"])) for row in rows)
    placed = [(row, place) for row, place in places if place is not None]
    if placed:
        for part, column, title in (
            ("crude_map", "crude_ratio", "As it is"),
            ("adjusted_map", "adjusted_ratio", "Water, family and age allowed for"),
        ):
            tiles = [_tile(field, row, column, place) for row, place in placed]
            charts[part] = {"rows": {"rows": tiles}, "title": title}
    charts["funnel"] = _funnel(field, rows)
    pairs = [_pair(field, row) for row in rows if row["adjusted_ratio"] and not row["thin"]]
    pairs = [pair for pair in pairs if pair["crude"]]
    pairs.sort(key=lambda pair: -abs(pair["crude"] - 1))
    pairs = sorted(pairs[:_MOST_PAIRS], key=lambda pair: -pair["crude"])
    if pairs:
        charts["ratio_pairs"] = {
            "rows": {"rows": pairs},
            "lists": {"names": [pair["name"] for pair in pairs]},
            "title": "Crude and adjusted",
        }
    says = _says_all(field, rows, event) + _apart(field, rows)
    return View(says, exposure(rows), charts, _COLUMNS, _table(field, rows))


def _place(field: Field, region: str) -> tuple[float, float] | None:
    place = field.regions.get(region) or {}
    row, column = place.get("tile_row"), place.get("tile_col")
    return None if row is None or column is None else (row, column)


def _tile(field: Field, row: Row, column: str, place: tuple[float, float]) -> Row:
    ratio = row[column]
    text = f"{formats.number(ratio)} times"
    if column == "adjusted_ratio" and row["adjusted_low"] is not None:
        text += f" ({formats.interval(row['adjusted_low'], row['adjusted_high'])})"
    text += f", {formats.counted(row['failures'], 'failure')}"
    return {
        "region": row["region"],
        "name": field.region_name(row["region"]),
        "label": row["region"].rpartition("-")[2],
        "row": place[0],
        "col": place[1],
        "band": _band(ratio, row["thin"]),
        "text": text + (" (thin)" if row["thin"] else ""),
    }


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
        }
        for row in measured
    ]
    return {"rows": {"rows": dots, "limits": funnel_lines(measured)}, "title": "Funnel"}


def _pair(field: Field, row: Row) -> Row:
    return {
        "name": field.region_name(row["region"]),
        "crude": slim(row["crude_ratio"]),
        "adjusted": slim(row["adjusted_ratio"]),
        "low": slim(row["adjusted_low"]),
        "high": slim(row["adjusted_high"]),
        "text": f"crude {formats.number(row['crude_ratio'])}, adjusted {_adjusted(row)}",
    }


def _adjusted(row: Row) -> str:
    limits = formats.interval(row["adjusted_low"], row["adjusted_high"])
    return f"{formats.number(row['adjusted_ratio'])} ({limits})"


def _nearer_to_1(row: Row) -> float:
    """How far the limit nearer to 1 lies from it, as a ratio of 1 or more."""
    above = row["direction"] == "above"
    return float(row["adjusted_low"] if above else 1 / row["adjusted_high"])


def _says_all(field: Field, rows: list[Row], event: str) -> str:
    if len(rows) == 1:
        return f"{_says_one(field, rows[0], event)[:-1]}; there is no other to compare it with."
    named = [row for row in rows if row["flagged"] and row["failures"] >= _FEWEST_NAMED]
    words = EVENT_WORDS[event]
    if not named:
        return (
            f"No region stands out in {words} once water, family and age are allowed for, at a "
            "false-discovery rate of 10 %."
        )
    parts = []
    for direction, more in (("above", "more"), ("below", "fewer")):
        own = [row for row in named if row["direction"] == direction]
        own.sort(key=_nearer_to_1, reverse=True)
        told = [f"{field.region_name(row['region'])} ({_adjusted(row)} times)" for row in own[:4]]
        if len(own) > 4:
            told.append(f"{len(own) - 4} more")
        if told:
            verb = "has" if len(own) == 1 else "have"
            parts.append(f"{formats.listed(told)} {verb} {more} {words} than all regions together")
    return f"Once water, family and age are allowed for, {'; '.join(parts)}."


def _apart(field: Field, rows: list[Row]) -> str:
    """Where no method can tell a region from its water, in a sentence after the others."""
    named = [field.region_name(row["region"]) for row in rows if row["confounded"]]
    if not named:
        return ""
    more = [f"{len(named) - 4} more"] if len(named) > 4 else []
    return (
        f" In {formats.listed([*named[:4], *more])} region and water hardly overlap, so "
        "that no method can part them."
    )


def _says_one(field: Field, row: Row, event: str) -> str:
    if row["crude_ratio"] is None:
        return f"{field.region_name(row['region'])}: no {EVENT_WORDS[event]} to compare."
    says = (
        f"{field.region_name(row['region'])}: {formats.number(row['crude_ratio'])} times the "
        f"{EVENT_WORDS[event]} of all regions"
    )
    if row["adjusted_ratio"] is not None:
        says += f"; {_adjusted(row)} once water, family and age are allowed for"
    return says + (" (thin)." if row["thin"] else ".")


_COLUMNS = [
    "Region", "Failures", "Expected", "Unit-years", "Per 100 unit-years", "95 %", "Shrunk",
    "Crude ratio", "Adjusted ratio", "95 % ", "p", "q", "Stands out",
]  # fmt: skip


def _table(field: Field, rows: list[Row]) -> list[list[str]]:
    ranked = sorted(rows, key=lambda row: (row["thin"], -(row["crude_ratio"] or 0), row["region"]))
    return [
        [
            field.region_name(row["region"]) + (" (thin)" if row["thin"] else ""),
            formats.whole(row["failures"]),
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
