"""Early warnings: every family and cause class watched by month, the most pressing first."""

from __future__ import annotations

from dashboards import formats
from dashboards.figures.cuts import ALL, Field, Figure, Row, Section, View, slim

MULTIPLES = 12
_MONTHS_DRAWN = 36
_RECENT = 3
Pair = tuple[str, str]


def section(field: Field) -> Section | None:
    """The section of early warnings; None without the table."""
    cuts = field.cuts("warnings")
    if cuts is None or not cuts.rows("family,cause_class"):
        return None
    views = {}
    for pick in field.picks:
        if pick.dimension in (ALL, "family"):
            fixed = {} if pick.dimension == ALL else {"family": pick.value}
            rows = cuts.rows("family,cause_class", **fixed)
            if rows:
                views[f"/{pick.key}"] = _view(rows)
    figure = Figure(
        "warnings",
        "Family by cause, month by month",
        [(f"watch-{n}", "watch_line") for n in range(MULTIPLES)],
        views,
        layout="multiples",
        reading="A Poisson CUSUM against the trailing rate; the dashed line is the value at which "
        "it alarms, dots are months that rose to it. The twelve closest to an alarm are drawn.",
    )
    return Section(
        "warnings", "What is about to go wrong", [figure], (), "", field.cautions("warnings")
    )


def _view(rows: list[Row]) -> View:
    pairs: dict[Pair, list[Row]] = {}
    for row in rows:
        if row["cusum"] is not None:
            pairs.setdefault((row["family"], row["cause_class"]), []).append(row)
    for months in pairs.values():
        months.sort(key=lambda row: row["month"])
    pressing = sorted(pairs, key=lambda pair: (-_pressure(pairs[pair]), pair))
    charts = {
        f"watch-{n}": {
            "rows": {"rows": [_point(row) for row in pairs[pair][-_MONTHS_DRAWN:]]},
            "title": f"{pair[0]}, {pair[1]}",
        }
        for n, pair in enumerate(pressing[:MULTIPLES])
    }
    table = [_line(pair, pairs[pair]) for pair in pressing]
    columns = [
        "Family and cause", "Latest month", "Failures", "Expected", "CUSUM", "Alarms at",
        "Months between false alarms", "Latest alarm",
    ]  # fmt: skip
    failures = sum(row["failures"] for months in pairs.values() for row in months)
    sample = f"{formats.counted(len(pairs), 'pair')} watched, {failures:,} failures."
    says = _says(pairs) if pairs else f"Early warning {rows[0]['note']}."
    return View(says, sample, charts, columns, table)


def _pressure(months: list[Row]) -> float:
    """How close the last months came to their alarm value."""
    ratios = [
        row["cusum"] / row["decision_value"] for row in months[-_RECENT:] if row["decision_value"]
    ]
    return max(ratios, default=0.0)


def _says(pairs: dict[Pair, list[Row]]) -> str:
    alarmed = [pair for pair, months in pairs.items() if any(r["alarm"] for r in months[-_RECENT:])]
    lengths = [
        row["average_run_length"]
        for months in pairs.values()
        for row in months[-1:]
        if row["average_run_length"]
    ]
    tail = ""
    if lengths:
        shortest = formats.number(min(lengths), 2)
        tail = f" A pair in order alarms falsely once in {shortest} months or more."
    if not alarmed:
        watched = formats.counted(len(pairs), "pair")
        return f"No alarm in the last {_RECENT} months among {watched}.{tail}"
    named = [f"{family} {cause}" for family, cause in sorted(alarmed)[:4]]
    more = f" and {len(alarmed) - 4} more" if len(alarmed) > 4 else ""
    return (
        f"{len(alarmed)} of {len(pairs)} pairs alarmed in the last {_RECENT} months: "
        f"{formats.listed(named)}{more}.{tail}"
    )


def _point(row: Row) -> Row:
    return {
        "month": formats.chart_day(row["month"]),
        "cusum": slim(row["cusum"]),
        "decision_value": slim(row["decision_value"]),
        "alarm": row["alarm"],
        "text": f"{row['failures']:,} for {formats.number(row['expected'], 2)} expected",
    }


def _line(pair: Pair, months: list[Row]) -> list[str]:
    last = months[-1]
    alarms = [row["month"] for row in months if row["alarm"]]
    return [
        f"{pair[0]}, {pair[1]}",
        f"{last['month']:%Y-%m}",
        formats.whole(last["failures"]),
        formats.number(last["expected"], 2),
        formats.number(last["cusum"], 2),
        formats.number(last["decision_value"], 2),
        formats.number(last["average_run_length"], 3),
        f"{alarms[-1]:%Y-%m}" if alarms else "none",
    ]
