"""The next twelve months, and what the same forecast made a year ago was worth."""

from __future__ import annotations

from dashboards import formats
from dashboards.figures.cuts import ALL, Field, Figure, Row, Section, View, slim


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
        newest = sorted((r for r in rows if r["as_of"] == made[-1]), key=lambda r: r["month"])
        coming[f"/{pick.key}"] = _coming(newest, field.currency)
        if len(made) > 1:
            before = sorted((r for r in rows if r["as_of"] == made[-2]), key=lambda r: r["month"])
            past[f"/{pick.key}"] = _past(before)
    figures = [
        Figure(
            "forecast",
            "Expected failures and cost, month by month",
            [("forecast_fan", "forecast_fan"), ("cost_fan", "cost_fan")],
            coming,
            layout="pair",
            reading="The inner band holds 80 %, the outer 95 %; from units still covered.",
        ),
        Figure(
            "back-test",
            "The forecast of a year ago",
            [("back_test", "forecast_fan")],
            past,
            reading="Bands as above; diamonds are what happened.",
        ),
    ]
    return Section(
        "forecast",
        "What the next year will bring",
        [figure for figure in figures if figure.views],
        (),
        "",
        field.cautions("forecast"),
    )


def _point(row: Row) -> Row:
    point = {
        "month": formats.chart_day(row["month"]),
        "value": slim(row["failures"]),
        **{name: slim(row[name]) for name in ("low_80", "high_80", "low_95", "high_95")},
        "text": f"{formats.number(row['failures'])} "
        f"(80 %: {formats.interval(row['low_80'], row['high_80'])})",
    }
    if row["actual"] is not None:
        point["actual"] = row["actual"]
        point["text"] += f"; {row['actual']:,} happened"
    return point


def _cost_point(row: Row) -> Row:
    names = ("low_80", "high_80", "low_95", "high_95")
    limits = formats.interval(row["cost_low_80"], row["cost_high_80"])
    return {
        "month": formats.chart_day(row["month"]),
        "value": slim(row["cost"]),
        **{name: slim(row[f"cost_{name}"]) for name in names},
        "text": f"{formats.number(row['cost'])} (80 %: {limits})",
    }


def _coming(rows: list[Row], currency: str) -> View:
    known = [row for row in rows if row["failures"] is not None]
    costs = [row for row in rows if row["cost"] is not None]
    says = _expects(known, costs, currency) if known else f"The forecast {rows[0]['note']}."
    table = [
        [
            f"{row['month']:%Y-%m}",
            formats.number(row["failures"]),
            formats.interval(row["low_80"], row["high_80"]),
            formats.interval(row["low_95"], row["high_95"]),
            formats.number(row["cost"]),
            formats.interval(row["cost_low_95"], row["cost_high_95"]),
        ]
        for row in rows
    ]
    columns = ["Month", "Failures", "80 %", "95 %", f"Cost, {currency}", "95 % "]
    charts = {
        "forecast_fan": {"rows": {"rows": [_point(row) for row in known]}, "title": "Failures"},
        "cost_fan": {"rows": {"rows": [_cost_point(row) for row in costs]}, "title": "Cost"},
    }
    sample = f"{formats.counted(len(rows), 'month')} from {formats.long_day(rows[0]['as_of'])}."
    return View(says, sample, charts, columns, table)


def _expects(known: list[Row], costs: list[Row], currency: str) -> str:
    total = sum(row["failures"] for row in known)
    first = known[0]
    says = f"{formats.number(total)} failures are expected in {len(known)} months"
    if costs:
        says += f", at {formats.number(sum(row['cost'] for row in costs))} {currency}"
    says += f"; in {first['month']:%B %Y} {formats.number(first['failures'])}"
    if first["low_80"] is not None:
        says += f" (80 %: {formats.interval(first['low_80'], first['high_80'])})"
    return f"{says}."


def _past(rows: list[Row]) -> View:
    over = [row for row in rows if row["actual"] is not None and row["low_80"] is not None]
    expected = sum(row["failures"] for row in over)
    happened = sum(row["actual"] for row in over)
    held = {
        level: sum(row[f"low_{level}"] <= row["actual"] <= row[f"high_{level}"] for row in over)
        for level in (80, 95)
    }
    says = "No month of it is over yet."
    if over:
        says = (
            f"A year ago {formats.number(expected)} failures were expected and {happened:,} "
            f"happened; {held[80]} of {len(over)} months fell inside the 80 % interval, {held[95]} "
            "inside the 95 %."
        )
    table = [
        [
            f"{row['month']:%Y-%m}",
            formats.number(row["failures"]),
            formats.interval(row["low_80"], row["high_80"]),
            formats.interval(row["low_95"], row["high_95"]),
            formats.whole(row["actual"]),
        ]
        for row in rows
    ]
    sample = f"{formats.counted(len(rows), 'month')} from {formats.long_day(rows[0]['as_of'])}."
    points = [_point(row) for row in rows if row["failures"] is not None]
    return View(
        says,
        sample,
        {"back_test": {"rows": {"rows": points}}},
        ["Month", "Expected", "80 %", "95 %", "Happened"],
        table,
    )
