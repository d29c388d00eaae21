"""What failures cost: payable by cause, profile, region and family, line by line."""

from __future__ import annotations

from dashboards import formats
from dashboards.charts.categories import LINES
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
                view = _view(field, dimension, title, rows, overall)
                views[f"{dimension}/{pick.key}"] = view
    figures = [Figure("costs", "Payable", [("cost_bars", "cost_bars")], views)]
    return Section("costs", "What it costs", figures, choices, "By", field.cautions("costs"))


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


def _view(field: Field, dimension: str, title: str, rows: list[Row], overall: Row | None) -> View:
    def name(row: Row) -> str:
        return field.region_name(row["region"]) if dimension == "region" else row[dimension]

    ranked = sorted(rows, key=lambda row: (-row["total"], row[dimension]))
    shown = [row for row in ranked[:_MOST_BARS] if row["total"]]
    bars = [
        {
            "name": name(row),
            "line": line,
            "line_order": order,
            "amount": float(row[line]),
            "text": formats.money(row[line], field.currency),
        }
        for row in shown
        for order, line in enumerate(LINES)
    ]
    total = sum(row["total"] for row in rows)
    says = "Nothing is payable."
    if total and shown:
        first = shown[0]
        share = formats.percent(float(first["total"]) / float(total))
        says = (
            f"{name(first).capitalize()} costs most: "
            f"{formats.money(first['total'], field.currency)}, {share} of the total"
        )
        per_year = formats.number(first["cost_per_unit_year"])
        says += f", or {per_year} {field.currency} a unit-year."
    table = [
        [
            name(row) + (" (thin)" if row["thin"] else ""),
            *(formats.money(row[column]) for column in ("parts", "labor", "travel", "total")),
            formats.number(row["unit_years"], 4),
            formats.number(row["cost_per_unit_year"]),
        ]
        for row in ranked
    ]
    columns = [title, "Parts", "Labor", "Travel", "Total", "Unit-years", "Cost a unit-year"]
    sample = f"{formats.money(total, field.currency)} payable"
    if overall is not None:
        sample += f" over {formats.number(overall['unit_years'], 4)} unit-years watched"
    chart = {"rows": {"rows": bars}, "lists": {"names": [name(row) for row in shown]}}
    return View(says, f"{sample}.", {"cost_bars": chart}, columns, table)
