"""Early warnings: every alarm since the beginning, and the CUSUM of each pair that is watched."""

from __future__ import annotations

import datetime as dt
from typing import Any

from dashboards import formats
from dashboards.figures.behind import count, last_day, selection
from dashboards.figures.cuts import ALL, Field, Figure, Row, Section, View, slim

MOST_PAIRS = 12
_MONTHS_DRAWN = 36
_RECENT = 3
Pair = tuple[str, str]


def section(field: Field) -> Section | None:
    """The section of early warnings; None without a pair that is watched."""
    cuts = field.cuts("warnings")
    rows = cuts.rows("family,cause_class") if cuts else []
    if not rows:
        return None
    pairs = _pairs(rows)
    pressing = sorted(pairs, key=lambda pair: (-_pressure(pairs[pair]), pair))
    drawn = pressing[:MOST_PAIRS]
    says = field.sentence("warnings", "family,cause_class")
    table = [_line(pair, pairs[pair]) for pair in pressing]
    views = {
        f"{pair[0]} {pair[1]}/{ALL}": View(
            says, _sample(pairs, drawn), {"watch_line": _chart(pairs[pair])}, _COLUMNS, table
        )
        for pair in drawn
    }
    if not views:
        return None
    figure = Figure(
        "warnings",
        "One pair of family and cause, month by month",
        [("watch_line", "watch_line")],
        views,
        reading="A Poisson CUSUM against what 24 months of the pair lead to expect at the ages of "
        "its units; the dashed line is the value at which it alarms, dots are months in alarm.",
        handout="warnings",
    )
    choices = [(f"{pair[0]} {pair[1]}", f"{pair[0]}, {pair[1]}") for pair in drawn]
    return Section("warnings", "What is about to go wrong", [figure], choices, "Pair")


def alarms(field: Field) -> Figure | None:
    """Every alarm since the beginning, the newest first; None where there was none."""
    cuts = field.cuts("alarms")
    rows = cuts.rows("family,cause_class") if cuts else []
    if not rows:
        return None
    rows = sorted(
        rows,
        key=lambda row: (row["last_month"], row["first_month"], row["family"]),
        reverse=True,
    )
    view = View(
        field.sentence("alarms", "family,cause_class"),
        f"{formats.counted(len(rows), 'alarm')} since the beginning.",
        {"alarm_spans": _spans(rows)},
        [
            "Family and cause", "Rise began", "In alarm", "Failures", "Expected", "Ratio", "95 %",
            "Goes on",
        ],
        [_alarm_line(row) for row in rows],
    )  # fmt: skip
    return Figure(
        "alarms",
        "Alarms of families and causes",
        [("alarm_spans", "alarm_spans")],
        {f"*/{ALL}": view},
        reading="A bar is the months in alarm, the thin line before it the months of the rise. "
        "Colors tell whether it goes on; hollow ones rest on fewer than 5 failures. A bar opens "
        "the failures of its months.",
        handout="alarms",
    )


def behind_alarm(row: Row) -> str:
    """The failures of an alarm's months."""
    return selection(
        family=row["family"],
        cause_class=row["cause_class"],
        failed_from=row["first_month"].isoformat(),
        failed_to=last_day(row["last_month"]).isoformat(),
    )


def _spans(rows: list[Row]) -> dict[str, Any]:
    spans = [
        {
            "pair": f"{row['family']}, {row['cause_class']}",
            "began": formats.chart_day(row["began"]),
            "first": formats.chart_day(row["first_month"]),
            "last": formats.chart_day(last_day(row["last_month"]) + dt.timedelta(days=1)),
            "state": _state(row),
            "text": f"{formats.counted(row['failures'], 'failure')} for "
            f"{formats.number(row['expected'])} expected, "
            f"{formats.number(row['ratio'])} times "
            f"({formats.interval(row['low'], row['high'])})",
            "to": behind_alarm(row),
        }
        for row in rows
    ]
    return {
        "rows": {"rows": spans},
        "lists": {"names": list(dict.fromkeys(r["pair"] for r in spans))},
    }


def _state(row: Row) -> str:
    if row["thin"]:
        return "thin"
    return "goes on" if row["standing"] else "is over"


def _alarm_line(row: Row) -> list[Any]:
    return [
        f"{row['family']}, {row['cause_class']}" + (" (thin)" if row["thin"] else ""),
        f"{row['began']:%Y-%m}",
        f"{row['first_month']:%Y-%m} to {row['last_month']:%Y-%m}",
        count(row["failures"], behind_alarm(row)),
        formats.number(row["expected"]),
        formats.number(row["ratio"]),
        formats.interval(row["low"], row["high"]),
        "yes" if row["standing"] else "no",
    ]


def _pairs(rows: list[Row]) -> dict[Pair, list[Row]]:
    pairs: dict[Pair, list[Row]] = {}
    for row in rows:
        if row["cusum"] is not None:
            pairs.setdefault((row["family"], row["cause_class"]), []).append(row)
    for months in pairs.values():
        months.sort(key=lambda row: row["month"])
    return pairs


def _pressure(months: list[Row]) -> float:
    """How close the last months came to their alarm value."""
    ratios = [
        row["cusum"] / row["decision_value"] for row in months[-_RECENT:] if row["decision_value"]
    ]
    return max(ratios, default=0.0)


def _sample(pairs: dict[Pair, list[Row]], drawn: list[Pair]) -> str:
    failures = sum(row["failures"] for months in pairs.values() for row in months)
    sample = f"{formats.counted(len(pairs), 'pair')} watched, {failures:,} failures."
    if len(pairs) > len(drawn):
        sample += f" The {len(drawn)} closest to an alarm can be drawn; the table has all."
    return sample


def behind_month(row: Row) -> str:
    """The failures of a pair in one month."""
    return selection(
        family=row["family"], cause_class=row["cause_class"], month=f"{row['month']:%Y-%m}"
    )


def _chart(months: list[Row]) -> dict[str, Any]:
    return {
        "rows": {
            "rows": [
                {
                    "month": formats.chart_day(row["month"]),
                    "cusum": slim(row["cusum"]),
                    "decision_value": slim(row["decision_value"]),
                    "alarm": row["alarm"],
                    "text": f"{row['failures']:,} for {formats.number(row['expected'], 2)} "
                    "expected",
                    "to": behind_month(row),
                }
                for row in months[-_MONTHS_DRAWN:]
            ]
        }
    }


_COLUMNS = [
    "Family and cause", "Latest month", "Failures", "Expected", "CUSUM", "Alarms at",
    "Months between false alarms", "Latest month in alarm",
]  # fmt: skip


def _line(pair: Pair, months: list[Row]) -> list[Any]:
    last = months[-1]
    alarmed = [row["month"] for row in months if row["alarm"]]
    return [
        f"{pair[0]}, {pair[1]}",
        f"{last['month']:%Y-%m}",
        count(last["failures"], behind_month(last)),
        formats.number(last["expected"], 2),
        formats.number(last["cusum"], 2),
        formats.number(last["decision_value"], 2),
        formats.number(last["average_run_length"], 3),
        f"{alarmed[-1]:%Y-%m}" if alarmed else "none",
    ]
