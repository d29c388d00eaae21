"""Failure rates by any one dimension: rates, not counts."""

from __future__ import annotations

from collections.abc import Callable

from dashboards import formats
from dashboards.figures import assumptions
from dashboards.figures.behind import count, of_row, of_slice
from dashboards.figures.cuts import (
    ALL,
    Cuts,
    Field,
    Figure,
    Pick,
    Row,
    Section,
    View,
    dot,
    exposure,
    limits,
    rate_text,
)

# The six that every figure is sliced by, then those that stand in `slice_rates`.
SIX = {
    "family": "Family",
    "region": "Region",
    "profile": "Water profile",
    "cause_class": "Class of causes",
    "startup": "Start-up",
    "treatment": "Treatment",
}
OTHERS = {
    "need": "Need of the water",
    "needs": "Needs together",
    "severity": "Severity of the water",
    "product": "Installed systems",
    "model": "Model",
    "cold_supply": "Coldest supply",
    "entry": "Quarter of entry",
    "shipped": "Quarter of shipment",
    "lot": "Lot",
    "installation": "Installation",
    "season": "Season",
    "month_of_year": "Month of the year",
    "year": "Year",
    "age": "Months in service",
    "cause": "Cause",
    "part": "Part",
}
DIMENSIONS = tuple({**SIX, **OTHERS}.items())
# These part the failures alone: everyone's time stands behind each value.
OF_FAILURE = ("cause_class", "cause", "part")
# In their own order, which the rate must not break up.
IN_ORDER = ("entry", "shipped", "month_of_year", "year", "age")
_MOST_BARS = 20
_OVERLAP = " A day with two needs counts in both rows: they do not add up."
To = Callable[[Row], str]


def section(field: Field) -> Section | None:
    """The section of rates; None without the table."""
    cuts = field.cuts("rates")
    if cuts is None:
        return None
    views: dict[str, View] = {}
    for dimension, title in SIX.items():
        for pick in field.picks:
            rows = _sliced(cuts, dimension, pick)
            if rows:
                says = field.sentence("rates", dimension, "any") if pick.dimension == ALL else ""
                view = _view(field, dimension, title, rows, of_row, says)
                views[f"{dimension}/{pick.key}"] = view
    others = field.cuts("slice_rates")
    for dimension, title in OTHERS.items() if others else ():
        rows = others.rows(dimension, event="any") if others else []
        if rows:
            renamed = [row | {dimension: row["value_1"]} for row in rows]
            says = field.sentence("slice_rates", dimension, "any")
            views[f"{dimension}/{ALL}"] = _view(field, dimension, title, renamed, of_slice, says)
    rates = Figure(
        "rates",
        "Failures per 100 unit-years",
        [("rates", "rates")],
        views,
        reading="A dot is the rate, the line its 95 % interval, robust to units that fail again; "
        "hollow dots are thin: fewer than 5 failures or 10 units, their lines cut at the longest "
        "of the others; the table has all limits.",
        handout="rates",
    )
    assumed = assumptions.figure(field)
    return Section(
        "rates",
        "How often units fail, by anything",
        [rates, *([assumed] if assumed else [])],
        [choice for choice in DIMENSIONS if f"{choice[0]}/{ALL}" in views],
        "Rates by",
        field.cautions(("clock_starts", ALL)),
    )


def _cut(row: Row, edge: float | None) -> tuple[float | None, float | None]:
    low, high = limits(row)
    if not row["thin"] or edge is None or high is None:
        return low, high
    return low, max(min(high, edge), row["rate_per_100"])


def _sliced(cuts: Cuts, dimension: str, pick: Pick) -> list[Row]:
    """Rows by one dimension within the pick, where that pair of dimensions is computed."""
    if pick.dimension == ALL:
        return cuts.rows(dimension)
    if pick.dimension == dimension:
        return cuts.rows(dimension, **{dimension: pick.value})
    by = ",".join(sorted((dimension, pick.dimension), key=list(SIX).index))
    return cuts.rows(by, **{pick.dimension: pick.value})


def _ranked(dimension: str, rows: list[Row]) -> list[Row]:
    """By rate, thin ones last; what has an order of its own keeps it."""
    if dimension in IN_ORDER:
        return sorted(rows, key=lambda row: row[dimension])
    return sorted(rows, key=lambda row: (row["thin"], -(row["rate_per_100"] or 0), row[dimension]))


def _view(field: Field, dimension: str, title: str, rows: list[Row], to: To, says: str) -> View:
    def name(row: Row) -> str:
        return field.region_name(row["region"]) if dimension == "region" else row[dimension]

    ranked = _ranked(dimension, rows)
    shown = ranked[-_MOST_BARS:] if dimension in IN_ORDER else ranked[:_MOST_BARS]
    # The lines of thin groups end where those of all others do, or they would flatten these.
    ends = [limits(row)[1] or 0.0 for row in shown if not row["thin"]]
    edge = max(ends, default=None)
    dots = [
        dot(
            name(row), row["rate_per_100"], *_cut(row, edge), row["thin"], rate_text(row),
            to(row),
        )
        for row in shown
        if row["rate_per_100"] is not None
    ]  # fmt: skip
    table = [
        [
            name(row) + (" (thin)" if row["thin"] else ""),
            count(row["failures"], to(row)),
            formats.whole(row["units"]),
            formats.number(row["unit_years"], 4),
            formats.number(row["rate_per_100"]),
            formats.interval(row["low"], row["high"]),
            formats.interval(row["robust_low"], row["robust_high"]),
        ]
        for row in ranked
    ]
    columns = [
        title, "Failures", "Units", "Unit-years", "Per 100 unit-years", "95 % exact",
        "95 % robust",
    ]  # fmt: skip
    chart = {"rows": {"rows": dots}, "lists": {"names": [row["name"] for row in dots]}}
    return View(says, _sample(dimension, rows, shown), {"rates": chart}, columns, table)


def _sample(dimension: str, rows: list[Row], shown: list[Row]) -> str:
    """What stands behind the figure, what overlaps, and what is not drawn."""
    failures = formats.counted(sum(row["failures"] for row in rows), "failure")
    if dimension in OF_FAILURE:
        sample = f"{failures} in {formats.number(rows[0]['unit_years'], 4)} unit-years."
    elif dimension == "need":
        sample = f"{formats.counted(len(rows), 'need')}.{_OVERLAP}"
    elif dimension in SIX and dimension != "treatment":
        sample = exposure(rows)
    else:  # a unit stands in each value of which it had a day
        years = formats.number(sum(row["unit_years"] for row in rows), 4)
        sample = f"{failures} in {years} unit-years."
    if len(rows) > len(shown):
        which = "newest" if dimension in IN_ORDER else "highest rates"
        sample += f" Of {len(rows)} the {len(shown)} {which} are drawn; the table has all."
    return sample
