"""Rates of pairs as shaded cells: causes by need, needs by what is installed, seasons by cold."""

from __future__ import annotations

from typing import NamedTuple

from dashboards import formats
from dashboards.figures.behind import count, of_row, of_slice
from dashboards.figures.cuts import (
    ALL,
    Field,
    Figure,
    Row,
    Section,
    View,
    limits,
    rate_text,
    step_of,
)


class Grid(NamedTuple):
    """One pair of dimensions: rows, columns, which failures, and whose sentence stands above."""

    key: str
    label: str
    down: str
    across: str
    event: str
    sentence_key: tuple[str, str]


GRIDS = (
    Grid("need", "Causes by need", "need", "cause_class", "any", ("slice_rates", "need")),
    Grid("family", "Causes by family", "family", "cause_class", "any", ("rates", "family")),
    Grid("product", "Needs by system", "product", "need", "water", ("slice_rates", "product")),
    Grid("season", "Seasons by cold", "season", "cold_supply", "any", ("slice_rates", "season")),
    Grid("entry", "Causes by entry", "entry", "cause_class", "any", ("slice_rates", "entry")),
    Grid(
        "installation",
        "Causes by installation",
        "installation",
        "cause_class",
        "any",
        ("slice_rates", "installation"),
    ),
)
SEASONS = ("winter", "spring", "summer", "autumn")
COLDS = ("cold", "cool", "mild", "unknown")
_OVERLAP = " A day with two needs counts in both: they do not add up."


def section(field: Field) -> Section | None:
    """The section of pairs; None where none has a row."""
    views = {}
    for grid in GRIDS:
        rows = _rows(field, grid)
        if rows:
            says = field.sentence(*grid.sentence_key, grid.event)
            views[f"{grid.key}/{ALL}"] = _view(grid, rows, says)
    if not views:
        return None
    figure = Figure(
        "causes",
        "Failures per 100 unit-years of each pair",
        [("cause_grid", "cause_grid")],
        views,
        layout="wide-chart",
        legend=[("l-hollow", "thin: fewer than 5 failures or 10 units")],
        reading="A cell is a rate, deeper where it is higher, and opens its failures. Needs are "
        "those of the test in force on the day of the failure, not of a later one.",
        handout="slice_rates",
    )
    choices = [(grid.key, grid.label) for grid in GRIDS if f"{grid.key}/{ALL}" in views]
    return Section("causes", "Which waters break which machines", [figure], choices, "Show")


def _rows(field: Field, grid: Grid) -> list[Row]:
    """The pair's rows, each with its cell's names and what it opens."""
    if grid.down == "family":
        cuts = field.cuts("rates")
        cells = cuts.rows(f"{grid.down},{grid.across}") if cuts else []
        return [
            row | {"down": row[grid.down], "across": row[grid.across], "to": of_row(row)}
            for row in cells
        ]
    cuts = field.cuts("slice_rates")
    for first, second in ((grid.down, grid.across), (grid.across, grid.down)):
        cells = cuts.rows(f"{first},{second}", event=grid.event) if cuts else []
        if cells:
            side = {first: "value_1", second: "value_2"}
            return [
                row
                | {
                    "down": row[side[grid.down]],
                    "across": row[side[grid.across]],
                    "to": of_slice(row),
                }
                for row in cells
            ]
    return []


def _order(dimension: str, rows: list[Row], side: str) -> list[str]:
    """Seasons and colds in their own order, classes by their failures, others by name."""
    names = {row[side] for row in rows}
    for known in (SEASONS, COLDS):
        if names <= set(known):
            return [name for name in known if name in names]
    if dimension == "cause_class":
        totals = dict.fromkeys(names, 0)
        for row in rows:
            totals[row[side]] += row["failures"]
        return sorted(names, key=lambda name: (-totals[name], name))
    return sorted(names)


def _view(grid: Grid, rows: list[Row], says: str) -> View:
    solid = [row for row in rows if not row["thin"] and row["rate_per_100"]]
    top = max((row["rate_per_100"] for row in solid), default=0.0)
    cells = [
        {
            "group": row["down"],
            "cause": row["across"],
            "step": "thin" if row["thin"] else step_of(row["rate_per_100"], top),
            "rate_text": formats.number(row["rate_per_100"], 2),
            "text": f"{formats.counted(row['failures'], 'failure')}, {rate_text(row)}"
            + (" (thin)" if row["thin"] else ""),
            "to": row["to"],
        }
        for row in rows
    ]
    down, across = _order(grid.down, rows, "down"), _order(grid.across, rows, "across")
    table = [
        [
            row["down"],
            row["across"],
            count(row["failures"], row["to"]),
            formats.number(row["unit_years"], 4),
            formats.number(row["rate_per_100"]) + (" (thin)" if row["thin"] else ""),
            formats.interval(*limits(row)),
        ]
        for row in sorted(rows, key=lambda row: (down.index(row["down"]), -row["failures"]))
        if row["failures"]
    ]
    words = (grid.down.replace("_", " "), grid.across.replace("_", " "))
    columns = [
        *(word.capitalize() for word in words), "Failures", "Unit-years", "Per 100 unit-years",
        "95 %",
    ]  # fmt: skip
    chart = {"rows": {"rows": cells}, "lists": {"groups": down, "causes": across}}
    return View(says, _sample(grid, rows), {"cause_grid": chart}, columns, table)


def _sample(grid: Grid, rows: list[Row]) -> str:
    cells = f"{formats.counted(sum(1 for row in rows if row['failures']), 'pair')} with failures."
    if "need" in (grid.down, grid.across):
        return cells + _OVERLAP
    failures = formats.counted(sum(row["failures"] for row in rows), "failure")
    return f"{failures}; {cells}"
