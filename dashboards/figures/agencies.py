"""Agencies beside their peers: a funnel a measure, and what is worth asking about."""

from __future__ import annotations

from typing import Any

from dashboards import formats
from dashboards.figures.behind import Linked, selection
from dashboards.figures.cuts import ALL, Field, Figure, Row, Section, View, funnel_lines, slim

# Measure, heading, what its funnel is called, what its cases are and what is counted of them.
MEASURES = (
    ("returns", "Repairs that came back", "repairs followed", "came back"),
    ("labor_hours", "Labor hours a claim", "claims", "hours"),
    ("travel", "Travel a claim", "claims", "travel"),
    ("documents", "Claims that wait on documents", "claims", "wait"),
)
_CAUTION = (
    "A flag is a reason to ask, and no finding against an agency: sites, waters, roads and the "
    "parts that were sent differ between agencies too. Only more than expected is flagged, and "
    "about one flag in ten is expected to be chance."
)
_BY_CLASS = (
    "A dot is an agency: what it had over what its peers’ work on the same families and cause "
    "classes (labor hours: causes; documents: families alone) leads to expect."
)
_LINES = (
    "The dashed lines hold 95 %, the full lines 99.8 % of agencies that differ by chance alone; "
    "each agency’s own mix of work sets them, so they are not smooth."
)


def section(field: Field) -> Section | None:
    """The section of agencies; None where there are none to compare, or where they are hidden."""
    measured = [
        (measure, title, view)
        for measure, title, cases, counted in MEASURES
        if (view := _view(field, measure, cases, counted)) is not None
    ]
    if not measured:
        return None
    figure = Figure(
        "agencies",
        "Each agency against its peers",
        [(f"agency_{measure}", f"agency_{measure}") for measure, _, _ in measured],
        {f"{measure}/{ALL}": view for measure, _, view in measured},
        reading=f"{_BY_CLASS} {_LINES} A dot opens the failures that the agency went to.",
        handout="agency_figures",
    )
    choices = [(measure, title) for measure, title, _ in measured]
    return Section(
        "agencies", "How agencies’ repairs compare", [figure], choices, "Compare", [_CAUTION]
    )


def behind_agency(row: Row) -> str:
    """The failures to which an agency went."""
    return selection(agency=row["agency"])


def _view(field: Field, measure: str, cases: str, counted: str) -> View | None:
    each = [row for row in field.agencies if row["measure"] == measure and row["agency"] != ALL]
    if not each:
        return None
    is_share = measure in ("returns", "documents")
    ranked = sorted(each, key=lambda row: (row["thin"], -(row["ratio"] or 0), row["agency"]))
    table = [
        [
            Linked(row["agency"] + (" (thin)" if row["thin"] else ""), behind_agency(row)),
            formats.whole(row["cases"]),
            _value(row["value"], is_share),
            _limits(row, is_share),
            formats.number(row["observed"]),
            formats.number(row["expected"]),
            formats.number(row["ratio"]),
            formats.number(row["q_value"], 2),
            "yes" if row["flagged"] else "no",
        ]
        for row in ranked
    ]
    columns = [
        "Agency", cases.capitalize(), "Share" if is_share else "Mean", "95 %",
        counted.capitalize(), "Expected", "Ratio", "q", "Reason to ask",
    ]  # fmt: skip
    total = sum(row["cases"] for row in each)
    sample = f"{total:,} {cases} of {formats.counted(len(each), 'agency', 'agencies')}."
    lone = [row["agency"] for row in each if row["ratio"] is None or row["funnel_95_low"] is None]
    if lone:
        sample += f" Without peers to compare with, and so not drawn: {formats.listed(lone)}."
    says = field.sentence("agency_figures", measure)
    return View(says, sample, {f"agency_{measure}": _funnel(each)}, columns, table)


def _value(value: float | None, is_share: bool) -> str:
    return formats.percent(value) if is_share else formats.number(value)


def _limits(row: Row, is_share: bool) -> str:
    if is_share:
        return f"{formats.percent(row['low'])} to {formats.percent(row['high'])}"
    return formats.interval(row["low"], row["high"])


def _funnel(each: list[Row]) -> dict[str, Any]:
    compared = sorted(
        (row for row in each if row["ratio"] is not None and row["funnel_95_low"] is not None),
        key=lambda row: row["expected"],
    )
    dots = [
        {
            "name": row["agency"],
            "expected": slim(row["expected"]),
            "ratio": slim(row["ratio"]),
            "flagged": row["flagged"],
            "text": f"{formats.number(row['ratio'])} times, {formats.number(row['observed'])} for "
            f"{formats.number(row['expected'])} expected" + (" (thin)" if row["thin"] else ""),
            "to": behind_agency(row),
        }
        for row in compared
    ]
    return {"rows": {"rows": dots, "limits": funnel_lines(compared)}, "title": "Funnel"}
