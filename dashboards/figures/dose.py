"""Dose-response: rates by the value of an analyte, beside the limit and the step."""

from __future__ import annotations

from typing import Any

from dashboards import formats
from dashboards.figures.behind import count, event_of, selection
from dashboards.figures.cuts import (
    ALL,
    Cuts,
    Field,
    Figure,
    Row,
    Section,
    View,
    limits,
    rate_text,
    slim,
)

# On a log axis the first bin, which begins at nothing, begins at this share of the limit.
_FIRST_FROM = 1 / 8
_BEYOND = 8.0  # the last bin is open: it is drawn up to so many limits, or to the curve's end
_UNKNOWN_BIN = 0


def section(field: Field) -> Section | None:
    """The section of dose-response; None without the table."""
    bins = field.cuts("dose_bins")
    if bins is None:
        return None
    pairs = _pairs(bins)
    views = {}
    for analyte, event in pairs:
        for pick in field.picks:
            if pick.dimension not in (ALL, "family"):
                continue
            view = _view(field, bins, analyte, event, pick.value)
            if view is not None:
                views[f"{analyte} {event}/{pick.key}"] = view
    if not views:
        return None
    figure = Figure(
        "dose",
        "Failures by the value of the analyte, on unprotected days",
        [("dose_response", "dose_response")],
        views,
        reading="Bars are the rates in ranges of the value with their 95 % intervals, robust to "
        "units that fail again (hollow: thin); the curve is a regression with family and age "
        "allowed for, its band the 95 % limits by site. The full line is the limit of the terms, "
        "the dashed line the step that fits best, the shade the values that its 95 % set spans. "
        "The value is of the test in force on the day. A day is unprotected where no installed "
        "system guards against the analyte.",
        handout="dose_bins",
    )
    choices = [
        (f"{analyte} {event}", f"{_name(analyte)}: {_word(event)}")
        for analyte, event in pairs
        if f"{analyte} {event}/{ALL}" in views
    ]
    return Section(
        "dose", "Does the limit stand where the harm begins?", [figure], choices, "Analyte"
    )


def _pairs(bins: Cuts) -> list[tuple[str, str]]:
    """Analyte and event, those of most failures above the limit first; classes before water."""
    weight: dict[tuple[str, str], int] = {}
    for row in bins.rows(ALL, days="unprotected"):
        if row["bin"] > _UNKNOWN_BIN:
            key = (row["analyte"], row["event"])
            weight[key] = weight.get(key, 0) + row["failures"]
    return sorted(weight, key=lambda key: (key[1] == "water", -weight[key], key))


def _name(analyte: str) -> str:
    return formats.ANALYTES.get(analyte, (analyte, ""))[0]


def _word(event: str) -> str:
    return "water-caused failures" if event == "water" else f"{event} failures"


def _table_of(
    field: Field, table: str, analyte: str, event: str, family: str, **more: str
) -> list[Row]:
    cuts = field.cuts(table)
    if cuts is None:
        return []
    by = ALL if family == ALL else "family"
    return cuts.rows(by, analyte=analyte, event=event, family=family, **more)


def _view(field: Field, bins: Cuts, analyte: str, event: str, family: str) -> View | None:
    by = ALL if family == ALL else "family"
    rows = bins.rows(by, analyte=analyte, event=event, family=family, days="unprotected")
    if not rows:
        return None
    curve = _table_of(field, "dose_curve", analyte, event, family)
    step = next(iter(_table_of(field, "dose_step", analyte, event, family)), None)
    points = [
        {name: slim(row[name]) for name in ("value", "rate_per_100", "low", "high")}
        for row in curve
        if row["value"] is not None and row["rate_per_100"] is not None
    ]
    limit = rows[0]["limit"]
    last = max([_BEYOND * limit, *(point["value"] for point in points)])
    bars = [
        _bar(row, limit, last)
        for row in rows
        if row["bin"] > _UNKNOWN_BIN and row["rate_per_100"] is not None
    ]
    unit = formats.ANALYTES.get(analyte, ("", ""))[1]
    scale = f"{_name(analyte)}, {unit} (log scale)" if unit else f"{_name(analyte)} (log scale)"
    word = _word(event)
    chart: dict[str, Any] = {
        "rows": {
            "bins": bars,
            "curve": points,
            "limit": [{"value": limit, "text": f"limit {limit:g}"}],
            "step": _steps(step),
        },
        "lists": {
            "x_title": [scale],
            "y_title": [f"{word[0].upper()}{word[1:]} per 100 unit-years"],
        },
    }
    slice_key = analyte if family == ALL else f"{family},{analyte}"
    says = field.sentence("dose_step", slice_key, event)
    every = bins.rows(by, analyte=analyte, event=event, family=family)
    return View(says, _sample(rows), {"dose_response": chart}, _COLUMNS, _lines(every))


def _steps(step: Row | None) -> list[Row]:
    if step is None or step["step_at"] is None or step["verdict"] in (None, "no_step"):
        return []
    return [
        {
            "at": step["step_at"],
            "low": step["step_low"],
            "high": step["step_high"],
            "text": f"step at {step['step_at']:.4g} "
            f"({step['step_low']:.4g} to {step['step_high']:.4g})",
        }
    ]


def behind_bin(row: Row) -> str:
    """The failures of a bin, on all days or on unprotected ones alone."""
    word = f"{row['analyte']}/{row['limit']:g}:{row['bin']}"
    dose = f"{word}:unprotected" if row["days"] == "unprotected" else word
    return selection(family=row["family"], event=event_of(row["event"]), dose=dose)


def _bar(row: Row, limit: float, last: float) -> Row:
    start = row["value_from"] or _FIRST_FROM * limit
    end = row["value_to"] if row["value_to"] is not None else last
    low, high = limits(row)
    return {
        "start": slim(start),
        "end": slim(end),
        "middle": slim((start * end) ** 0.5),
        "rate": slim(row["rate_per_100"]),
        "low": slim(low),
        "high": slim(high),
        "thin": row["thin"],
        "text": f"{_range(row)}: {rate_text(row)}" + (" (thin)" if row["thin"] else ""),
        "to": behind_bin(row),
    }


def _range(row: Row) -> str:
    if row["bin"] == _UNKNOWN_BIN:
        return "not known"
    if row["value_to"] is None:
        return f"above {row['value_from']:g}"
    if not row["value_from"]:
        return f"up to {row['value_to']:g}"
    return f"above {row['value_from']:g} to {row['value_to']:g}"


_COLUMNS = [
    "Value", "Days", "Failures", "Units", "Unit-years", "Per 100 unit-years", "95 % exact",
    "95 % robust",
]  # fmt: skip


def _lines(rows: list[Row]) -> list[list[Any]]:
    """Unprotected days first, the ranges in order, days without the analyte last."""
    ordered = sorted(
        rows, key=lambda row: (row["days"] == ALL, row["bin"] == _UNKNOWN_BIN, row["bin"])
    )
    return [
        [
            _range(row) + (" (thin)" if row["thin"] else ""),
            row["days"],
            count(row["failures"], behind_bin(row)),
            formats.whole(row["units"]),
            formats.number(row["unit_years"], 4),
            formats.number(row["rate_per_100"]),
            formats.interval(row["low"], row["high"]),
            formats.interval(row["robust_low"], row["robust_high"]),
        ]
        for row in ordered
    ]


def _sample(rows: list[Row]) -> str:
    known = [row for row in rows if row["bin"] > _UNKNOWN_BIN]
    failures = formats.counted(sum(row["failures"] for row in known), "failure")
    years = formats.number(sum(row["unit_years"] for row in known), 4)
    sample = f"{failures} in {years} unprotected unit-years with a known value"
    unknown = [row for row in rows if row["bin"] == _UNKNOWN_BIN]
    if unknown:
        sample += (
            f"; {formats.counted(unknown[0]['failures'], 'failure')} in "
            f"{formats.number(unknown[0]['unit_years'], 4)} without"
        )
    return f"{sample}."
