"""The next twelve months by month and together, and what earlier forecasts were worth."""

from __future__ import annotations

import datetime as dt
from typing import Any

from dashboards import formats
from dashboards.figures.behind import count, last_day, of_row
from dashboards.figures.cuts import ALL, Field, Figure, Row, Section, View, slim

BASES = {"all": "all units", "installed": "units installed or shipped", "sales": "units to come"}
_LIMITS = ("low_80", "high_80", "low_95", "high_95")


def section(field: Field) -> Section | None:
    """The section of forecasts; None without the table."""
    cuts = field.cuts("forecast")
    if cuts is None:
        return None
    coming, past = {}, {}
    for pick in field.picks:
        fixed = {} if pick.dimension == ALL else {pick.dimension: pick.value}
        rows = cuts.rows(pick.dimension, **fixed)
        made = sorted({row["as_of"] for row in rows})
        if not made:
            continue
        whole = pick.dimension == ALL
        coming[f"*/{pick.key}"] = _coming(
            field, _of_day(rows, made[-1]), _year(field, pick.dimension, fixed, made[-1]), whole
        )
        if len(made) > 1:
            past[f"*/{pick.key}"] = _past(field, _of_day(rows, made[-2]), whole)
    figures = [
        Figure(
            "forecast",
            "Expected failures and cost, month by month",
            [("forecast_fan", "forecast_fan"), ("cost_fan", "cost_fan")],
            coming,
            layout="pair",
            reading="The inner band holds 80 %, the outer 95 % of what may come. The limits of the "
            "year stand in the table’s first rows: they come from the sums of the draws, not from "
            "the months’ limits.",
            handout="forecast_year" if field.cuts("forecast_year") else "forecast",
        ),
        Figure(
            "back-test",
            "The forecast of a year ago, and those before it",
            [("back_test", "forecast_fan")],
            past,
            reading="Bands as above; diamonds are what happened, and open their failures.",
            handout="forecast_record" if field.cuts("forecast_record") else "forecast",
        ),
    ]
    return Section(
        "forecast",
        "What the next year will bring",
        [figure for figure in figures if figure.views],
        (),
        "",
        field.cautions(("forecast_model", ALL)),
    )


def _of_day(rows: list[Row], as_of: Any) -> list[Row]:
    """The months of all bases together, or of the only one there is, in order."""
    own = [row for row in rows if row["as_of"] == as_of]
    together = [row for row in own if row.get("basis", ALL) == ALL]
    return sorted(together or own, key=lambda row: row["month"])


def _year(field: Field, dimension: str, fixed: dict[str, str], as_of: Any) -> list[Row]:
    """The year's rows, of all units first."""
    cuts = field.cuts("forecast_year")
    rows = cuts.rows(dimension, **fixed) if cuts else []
    own = [row for row in rows if row["as_of"] == as_of]
    return sorted(own, key=lambda row: list(BASES).index(row["basis"]))


def _point(row: Row) -> Row:
    point = {
        "month": formats.chart_day(row["month"]),
        "value": slim(row["failures"]),
        **{name: slim(row[name]) for name in _LIMITS},
        "text": f"{formats.number(row['failures'])} "
        f"(80 %: {formats.interval(row['low_80'], row['high_80'])})",
    }
    if row["actual"] is not None:
        point["actual"] = row["actual"]
        point["text"] += f"; {row['actual']:,} happened"
        point["to"] = behind_month(row)
    return point


def behind_month(row: Row) -> str:
    """The failures that came in a month."""
    month = row["month"]
    return of_row(row, failed_from=month.isoformat(), failed_to=last_day(month).isoformat())


def behind_year(row: Row) -> str:
    """The failures that came in the twelve months after a forecast's own month."""
    first = last_day(row["as_of"]) + dt.timedelta(days=1)
    end = first.replace(year=first.year + 1) - dt.timedelta(days=1)
    return of_row(row, failed_from=first.isoformat(), failed_to=end.isoformat())


def _cost_point(row: Row) -> Row:
    limits = formats.interval(row["cost_low_80"], row["cost_high_80"])
    return {
        "month": formats.chart_day(row["month"]),
        "value": slim(row["cost"]),
        **{name: slim(row[f"cost_{name}"]) for name in _LIMITS},
        "text": f"{formats.number(row['cost'])} (80 %: {limits})",
    }


def _coming(field: Field, rows: list[Row], year: list[Row], whole: bool) -> View:
    known = [row for row in rows if row["failures"] is not None]
    costs = [row for row in rows if row["cost"] is not None]
    lines = [(f"the year, {BASES[row['basis']]}", row) for row in year]
    lines += [(f"{row['month']:%Y-%m}", row) for row in rows]
    table = [
        [
            name,
            formats.number(row["failures"]),
            formats.interval(row["low_80"], row["high_80"]),
            formats.interval(row["low_95"], row["high_95"]),
            formats.number(row["cost"]),
            formats.interval(row["cost_low_95"], row["cost_high_95"]),
        ]
        for name, row in lines
    ]
    columns = ["Month", "Failures", "80 %", "95 %", f"Cost, {field.currency}", "95 % "]
    charts = {
        "forecast_fan": {"rows": {"rows": [_point(row) for row in known]}, "title": "Failures"},
        "cost_fan": {"rows": {"rows": [_cost_point(row) for row in costs]}, "title": "Cost"},
    }
    sample = f"{formats.counted(len(rows), 'month')} from {formats.long_day(rows[0]['as_of'])}."
    if not known and rows[0]["note"]:
        sample += f" The forecast {rows[0]['note']}."
    says = (field.sentence("forecast_year") or field.sentence("forecast")) if whole else ""
    return View(says, sample, charts, columns, table)


def _past(field: Field, rows: list[Row], whole: bool) -> View:
    table = [
        [
            f"{row['month']:%Y-%m}",
            formats.number(row["failures"]),
            formats.interval(row["low_80"], row["high_80"]),
            formats.interval(row["low_95"], row["high_95"]),
            formats.whole(None)
            if row["actual"] is None
            else count(row["actual"], behind_month(row)),
        ]
        for row in rows
    ]
    columns = ["Month", "Expected", "80 %", "95 %", "Happened"]
    if whole:
        table += [_record_line(row) for row in _record(field)]
    sample = f"{formats.counted(len(rows), 'month')} from {formats.long_day(rows[0]['as_of'])}."
    points = [_point(row) for row in rows if row["failures"] is not None]
    says = field.sentence("forecast_record") if whole else ""
    return View(says, sample, {"back_test": {"rows": {"rows": points}}}, columns, table)


def _record(field: Field) -> list[Row]:
    cuts = field.cuts("forecast_record")
    rows = cuts.rows(ALL) if cuts else []
    own = [row for row in rows if row["basis"] == ALL] or rows
    return sorted(own, key=lambda row: row["as_of"], reverse=True)


def _record_line(row: Row) -> list[Any]:
    """One whole year of the record: forecast, bias, and whether the year's limits held it."""
    inside = {True: "inside", False: "outside", None: "–"}
    first = row["as_of"]
    return [
        f"the year from {formats.long_day(first)}",
        f"{formats.number(row['forecast'])} (bias {_signed(row['bias'])})",
        inside[row["year_inside_80"]],
        inside[row["year_inside_95"]],
        formats.whole(None) if row["actual"] is None else count(row["actual"], behind_year(row)),
    ]


def _signed(bias: float | None) -> str:
    return "–" if bias is None else f"{bias:+.0%}"
