"""What failures cost: payable by cause, profile, region and family, line by line."""

from __future__ import annotations

from typing import Any

from dashboards import formats
from dashboards.charts.categories import LINES
from dashboards.figures.behind import of_row
from dashboards.figures.cuts import ALL, Cuts, Field, Figure, Pick, Row, Section, View

CHOICES = (
    ("cause_class", "Cause"),
    ("profile", "Water profile"),
    ("region", "Region"),
    ("family", "Family"),
    ("agency", "Agency"),
)
_MOST_BARS = 15


def section(field: Field) -> Section | None:
    """The section of cost; None without the table."""
    cuts = field.cuts("costs")
    if cuts is None:
        return None
    choices = [choice for choice in CHOICES if cuts.rows(choice[0])]
    overall = next(iter(cuts.rows(ALL)), None)
    views = {}
    for dimension, title in choices:
        for pick in field.picks:
            rows = _sliced(cuts, dimension, pick)
            if rows:
                says = field.sentence("costs", dimension) if pick.dimension == ALL else ""
                view = _view(field, dimension, title, rows, overall, says)
                views[f"{dimension}/{pick.key}"] = view
    figure = Figure(
        "costs",
        "Payable, and what still waits for evidence or review",
        [("cost_bars", "cost_bars")],
        views,
        reading="Bars are what is payable under the terms for failures inside the watch; a bar "
        "opens its failures. Pending, in the table, is what waiting claims would pay if covered, "
        "times the share of such claims that came to be covered.",
        handout="costs",
    )
    return Section("costs", "What it costs", [figure], choices, "By")


def _sliced(cuts: Cuts, dimension: str, pick: Pick) -> list[Row]:
    if pick.dimension == ALL:
        return cuts.rows(dimension)
    if pick.dimension == dimension:
        return cuts.rows(dimension, **{dimension: pick.value})
    order = ("family", "region", "profile", "cause_class")
    if dimension not in order:
        return []
    by = ",".join(sorted((dimension, pick.dimension), key=order.index))
    return cuts.rows(by, **{pick.dimension: pick.value})


def _view(
    field: Field, dimension: str, title: str, rows: list[Row], overall: Row | None, says: str
) -> View:
    def name(row: Row) -> str:
        return field.region_name(row["region"]) if dimension == "region" else row[dimension]

    ranked = sorted(rows, key=lambda row: (-row["total"], row[dimension]))
    paid = [row for row in ranked if row["total"]]
    shown = paid[:_MOST_BARS]
    bars = [
        {
            "name": name(row),
            "line": line,
            "line_order": order,
            "amount": float(row[line]),
            "text": formats.money(row[line], field.currency),
            "to": of_row(row),
        }
        for row in shown
        for order, line in enumerate(LINES)
    ]
    total = sum(row["total"] for row in rows)
    table = [_line(name(row), row) for row in ranked]
    pending = ["Pending"] if "pending" in rows[0] else []
    columns = [
        title, "Parts", "Labor", "Travel", "Total", *pending, "Unit-years", "Cost a unit-year",
    ]  # fmt: skip
    sample = f"{formats.money(total, field.currency)} payable"
    if overall is not None:
        sample += f" over {formats.number(overall['unit_years'], 4)} unit-years watched"
    sample += "."
    if len(paid) > len(shown):
        sample += f" Of {len(paid)} the {len(shown)} largest are drawn; the table has all."
    chart = {"rows": {"rows": bars}, "lists": {"names": [name(row) for row in shown]}}
    return View(says, sample, {"cost_bars": chart}, columns, table)


def _line(name: str, row: Row) -> list[Any]:
    return [
        name + (" (thin)" if row["thin"] else ""),
        *(formats.money(row[column]) for column in (*LINES, "total")),
        *([_pending(row)] if "pending" in row else []),
        formats.number(row["unit_years"], 4),
        formats.number(row["cost_per_unit_year"]),
    ]


def _pending(row: Row) -> str:
    limits = formats.bracketed(formats.interval(row["pending_low"], row["pending_high"]))
    return f"{formats.number(row['pending'])}{limits}"
