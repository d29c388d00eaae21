"""Quarters of entry: whether it is getting better, what has failed by each age, what may follow."""

from __future__ import annotations

from typing import Any

from dashboards import formats
from dashboards.figures.behind import count, event_of, of_row, selection, up_to
from dashboards.figures.cuts import ALL, Field, Figure, Row, Section, View, dot, step_of

MONTHS = (3, 6, 9, 12, 18, 24, 30, 36, 48)
_EVENTS = (("any", "Any cause"), ("water", "Water-caused"))


def section(field: Field) -> Section | None:
    """The section of cohorts; None without the table."""
    figures = [figure for figure in (_ratios(field), _grid(field)) if figure.views]
    if not figures:
        return None
    return Section(
        "cohorts",
        "Is it getting better?",
        figures,
        _EVENTS,
        "Show",
        field.cautions(("reporting_lags", ALL), ("completion_record", ALL)),
    )


def _ratios(field: Field) -> Figure:
    cuts = field.cuts("cohort_ratios")
    views = {}
    for event, _ in _EVENTS:
        rows = cuts.rows(ALL, event=event) if cuts else []
        rows = rows or (cuts.rows("entry", event=event) if cuts else [])
        if any(row["ratio"] is not None for row in rows):
            says = field.sentence("cohort_ratios", "entry", event)
            views[f"{event}/{ALL}"] = _ratios_view(rows, says)
    return Figure(
        "cohort-ratios",
        "Each quarter of entry against what all quarters lead to expect",
        [("cohort_ratios", "cohort_ratios")],
        views,
        reading="Failures over those expected at the rates of all quarters by family and age "
        "(indirect standardization), with exact limits: above 1 the quarter fails more. Hollow "
        "dots are thin.",
        handout="cohort_ratios",
    )


def _ratios_view(rows: list[Row], says: str) -> View:
    rows = sorted(rows, key=lambda row: row["cohort"])
    known = [row for row in rows if row["ratio"]]
    dots = [
        dot(
            row["cohort"], row["ratio"], row["low"] or row["ratio"], row["high"], row["thin"],
            f"{formats.number(row['ratio'])} ({formats.interval(row['low'], row['high'])}), "
            f"{row['failures']:,} for {formats.number(row['expected'])} expected",
            _behind(row),
        )
        for row in known
    ]  # fmt: skip
    table = [
        [
            row["cohort"] + (" (thin)" if row["thin"] else ""),
            count(row["failures"], _behind(row)),
            formats.number(row["expected"]),
            formats.number(row["ratio"]),
            formats.interval(row["low"], row["high"]),
            formats.number(row["p_value"], 2),
            formats.number(row["q_value"], 2),
        ]
        for row in rows
    ]
    columns = ["Entered", "Failures", "Expected", "Ratio", "95 %", "p", "q"]
    chart = {"rows": {"rows": dots}, "lists": {"names": [row["name"] for row in dots]}}
    failures = formats.counted(sum(row["failures"] for row in rows), "failure")
    sample = f"{failures} in {formats.counted(len(rows), 'quarter')} of entry."
    gone = [row["cohort"] for row in rows if not row["ratio"]]
    if gone:
        sample += f" Without a failure, and so not drawn: {formats.listed(gone)}."
    return View(says, sample, {"cohort_ratios": chart}, columns, table)


def _behind(row: Row) -> str:
    return selection(entry=row["cohort"], event=event_of(row["event"]))


def _grid(field: Field) -> Figure:
    cuts = field.cuts("cohorts")
    views = {}
    for event, _ in _EVENTS:
        for pick in field.picks:
            fixed = {} if pick.dimension == ALL else {pick.dimension: pick.value}
            rows = cuts.rows(pick.dimension, event=event, **fixed) if cuts else []
            if rows:
                says = field.sentence("cohorts", ALL, event) if pick.dimension == ALL else ""
                views[f"{event}/{pick.key}"] = _grid_view(rows, says)
    return Figure(
        "cohorts",
        "Failures per 100 units still watched, by quarter of entry and age",
        [("cohort_grid", "cohort_grid")],
        views,
        layout="wide-chart",
        legend=[
            ("l-thin", "immature: reports are still expected; completed for them"),
            ("l-hollow", "projected: not reached yet"),
        ],
        reading="A row is the units whose warranty began in that quarter, a column their months "
        "in service: the mean number of failures by that age, per 100 units, each age judged by "
        "the units still watched at it. A quarter ends where fewer than 20 of its units, or than "
        "5 % of them, are still watched.",
        handout="cohorts",
    )


def state_of(row: Row) -> str:
    """Whether a cell is known, immature or projected."""
    if row.get("projected"):
        return "projected"
    return "immature" if row["immature"] else "known"


def shown_value(row: Row) -> float | None:
    """What a cell says: the completed or projected figure where there is one."""
    known: float | None = row["mean_per_100"]
    made: float | None = row["completed_per_100"]
    return known if state_of(row) == "known" else made


def _grid_view(rows: list[Row], says: str) -> View:
    shown = [
        row
        for row in rows
        if row["months"] in MONTHS
        and (row["shown"] or row.get("projected"))
        and shown_value(row) is not None
    ]
    mature = [row["mean_per_100"] for row in shown if state_of(row) == "known"]
    top = max(mature, default=0.0)
    cells = [_cell(row, top) for row in shown]
    units = {row["cohort"]: row["units"] for row in rows}
    quarters = formats.counted(len(units), "quarter", "quarters")
    sample = f"{formats.counted(sum(units.values()), 'unit')} in {quarters} of entry."
    columns = [
        "Entered", "Months", "Units", "Still watched", "Failures", "Per 100", "95 %",
        "Completed or projected", "95 % of it", "State",
    ]  # fmt: skip
    chart = {"cohort_grid": {"rows": {"rows": cells}}}
    return View(says, sample, chart, columns, [_line(row) for row in shown])


def _behind_cell(row: Row) -> str:
    return of_row(
        row, entry=row["cohort"], event=event_of(row["event"]), age_to=up_to(row["months"])
    )


def _cell(row: Row, top: float) -> Row:
    state = state_of(row)
    return {
        "cohort": row["cohort"],
        "months": row["months"],
        "step": step_of(row["mean_per_100"], top) if state == "known" else state,
        "cell": formats.number(shown_value(row), 2),
        "text": _text(row, state),
        "to": _behind_cell(row),
    }


def _line(row: Row) -> list[Any]:
    return [
        row["cohort"],
        str(row["months"]),
        formats.whole(row["units"]),
        formats.whole(row["at_risk"]),
        count(row["failures"], _behind_cell(row)),
        formats.number(row["mean_per_100"]),
        formats.interval(row["mean_low"], row["mean_high"]),
        formats.number(row["completed_per_100"]),
        formats.interval(row["completed_low"], row["completed_high"]),
        state_of(row),
    ]


def _text(row: Row, state: str) -> str:
    limits = formats.interval(row["mean_low"], row["mean_high"])
    made = (
        f"{formats.number(row['completed_per_100'])} "
        f"({formats.interval(row['completed_low'], row['completed_high'])})"
    )
    if state == "projected":
        return f"projected {made} per 100"
    text = (
        f"{formats.number(row['mean_per_100'])} ({limits}) per 100; "
        f"{formats.counted(row['at_risk'], 'unit')} still watched"
    )
    return f"{text}; completed {made}" if state == "immature" else text
