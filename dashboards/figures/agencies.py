"""Agencies beside their peers: a funnel a measure, and what is worth asking about."""

from __future__ import annotations

from math import inf
from typing import Any

from dashboards import formats
from dashboards.figures.cuts import ALL, Field, Figure, Row, Section, View, funnel_lines, slim

# Measure, heading, what its funnel is called, what its cases are and what is counted of them.
_MEASURES = (
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
    "classes (labor hours: causes) leads to expect."
)
_BY_FAMILY = (
    "A dot is an agency: its waiting claims over what its peers’ claims for the same families lead "
    "to expect; the cause is left out, since it is itself one of the documents."
)
_LINES = (
    "The dashed lines hold 95 %, the full lines 99.8 % of agencies that differ by chance alone; "
    "each agency’s own mix of work sets them, so they are not smooth."
)


def section(field: Field) -> Section | None:
    """The section of agencies; None where there are none to compare, or where they are hidden."""
    figures = [figure for measure in _MEASURES if (figure := _figure(field, *measure)) is not None]
    if not figures:
        return None
    return Section("agencies", "How agencies’ repairs compare", figures, cautions=[_CAUTION])


def _figure(field: Field, measure: str, title: str, cases: str, counted: str) -> Figure | None:
    rows = [row for row in field.agencies if row["measure"] == measure]
    each = [row for row in rows if row["agency"] != ALL]
    if not each:
        return None
    is_share = measure in ("returns", "documents")
    ranked = sorted(each, key=lambda row: (row["thin"], -(row["ratio"] or 0), row["agency"]))
    table = [
        [
            row["agency"] + (" (thin)" if row["thin"] else ""),
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
    part = f"agency_{measure}"
    view = View(_says(rows, each), sample, {part: _funnel(each)}, columns, table)
    return Figure(
        f"agencies-{measure}",
        title,
        [(part, part)],
        {f"*/{ALL}": view},
        reading=f"{_BY_FAMILY if measure == 'documents' else _BY_CLASS} {_LINES}",
    )


def _value(value: float | None, is_share: bool) -> str:
    return formats.percent(value) if is_share else formats.number(value)


def _limits(row: Row, is_share: bool) -> str:
    if is_share:
        return f"{formats.percent(row['low'])} to {formats.percent(row['high'])}"
    return formats.interval(row["low"], row["high"])


def _says(rows: list[Row], each: list[Row]) -> str:
    flagged = sorted(
        (row for row in each if row["flagged"] and not row["thin"]),
        key=lambda row: -(row["ratio"] or inf),
    )
    told = [row["sentence"] for row in rows if row["agency"] == ALL]
    if not flagged:
        told.append("No agency stands out at a false-discovery rate of 10 %.")
    told += [f"{row['agency']}: {row['sentence']}" for row in flagged]
    return " ".join(told)


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
        }
        for row in compared
    ]
    return {"rows": {"rows": dots, "limits": funnel_lines(compared)}, "title": "Funnel"}
