"""Treatment kept up, lapsed or missing: rates by state, and ratios between states."""

from __future__ import annotations

from dashboards import formats
from dashboards.figures.behind import count, event_of, of_row
from dashboards.figures.cuts import (
    ALL,
    EVENT_CHOICES,
    Field,
    Figure,
    Row,
    Section,
    View,
    dot,
    exposure,
    rate_text,
)

STATES = {
    "treated": "treated and kept up",
    "lapsed": "treated but lapsed",
    "untreated": "untreated but needed",
    "not needed": "not needed",
    "untested": "untested",
}
METHODS = {
    "crude": "crude",
    "mantel_haenszel": "needs and family",
    "cox": "same age",
    "cox_first": "first failures",
}
_COMPARED = ("treated vs untreated", "treated vs lapsed", "lapsed vs untreated")
_CAUTION = (
    "This is association, not proof: those who treat may differ in more than the treatment, and "
    "treatment fitted after a first failure is confounded by it."
)


def section(field: Field) -> Section | None:
    """The section of treatment; None without the table."""
    effect, ratios = field.cuts("treatment_effect"), field.cuts("treatment_ratios")
    if effect is None:
        return None
    rate_views, ratio_views = {}, {}
    for event, _ in EVENT_CHOICES:
        for pick in field.picks:
            fixed = {"event": event}
            if pick.dimension != ALL:
                fixed[pick.dimension] = pick.value
            rows = effect.rows(pick.dimension, **fixed)
            says = field.sentence("treatment_ratios", ALL, event) if pick.dimension == ALL else ""
            if rows:
                rate_views[f"{event}/{pick.key}"] = _rates_view(rows)
            own_ratios = ratios.rows(pick.dimension, **fixed) if ratios else []
            if any(row["ratio"] is not None for row in own_ratios):
                ratio_views[f"{event}/{pick.key}"] = _ratios_view(own_ratios, says)
    figures = [
        Figure(
            "treatment-ratios",
            "Rate ratios between states of the treatment",
            [("treatment_ratios", "treatment_ratios")],
            ratio_views,
            reading="Below 1 the first state fails less than the second: crude; within needs and "
            "family (Mantel–Haenszel); by the hazard at the same age (Cox, delayed entry); and by "
            "that of first failures alone, which no treatment fitted after a failure can confound.",
            handout="treatment_ratios",
        ),
        Figure(
            "treatment-rates",
            "Rates by state of the treatment",
            [("treatment_rates", "treatment_rates")],
            rate_views,
            reading="A unit’s days are split at each change of state, so that no time before the "
            "installation counts for the treatment.",
            handout="treatment_effect",
        ),
    ]
    return Section(
        "treatment",
        "Does treatment help?",
        [figure for figure in figures if figure.views],
        EVENT_CHOICES,
        "Show",
        [_CAUTION],
    )


def behind_state(row: Row) -> str:
    """The failures in one state of the treatment."""
    return of_row(row, treatment=row["state"], event=event_of(row["event"]))


def _rates_view(rows: list[Row]) -> View:
    rows = sorted(rows, key=lambda row: list(STATES).index(row["state"]))
    dots = [
        dot(
            STATES[row["state"]], row["rate_per_100"], row["low"], row["high"], row["thin"],
            rate_text(row), behind_state(row),
        )
        for row in rows
        if row["rate_per_100"] is not None
    ]  # fmt: skip
    table = [
        [
            STATES[row["state"]] + (" (thin)" if row["thin"] else ""),
            count(row["failures"], behind_state(row)),
            formats.number(row["unit_years"], 4),
            formats.number(row["rate_per_100"]),
            formats.interval(row["low"], row["high"]),
        ]
        for row in rows
    ]
    columns = ["State", "Failures", "Unit-years", "Per 100 unit-years", "95 %"]
    chart = {"rows": {"rows": dots}, "lists": {"names": [row["name"] for row in dots]}}
    return View("", exposure(rows), {"treatment_rates": chart}, columns, table)


def _ratios_view(rows: list[Row], says: str) -> View:
    rows = sorted(
        rows,
        key=lambda row: (_COMPARED.index(row["comparison"]), list(METHODS).index(row["method"])),
    )
    known = [row for row in rows if row["ratio"] is not None]
    dots = [
        dot(
            f"{row['comparison']}, {METHODS[row['method']]}", row["ratio"], row["low"],
            row["high"], row["thin"], _ratio_text(row),
            of_row(row, treatment=row["comparison"].split()[0], event=event_of(row["event"])),
        )
        for row in known
    ]  # fmt: skip
    table = [
        [
            row["comparison"],
            METHODS[row["method"]],
            formats.number(row["ratio"]) + (" (thin)" if row["thin"] else ""),
            formats.interval(row["low"], row["high"]),
            row["note"] or "",
        ]
        for row in rows
    ]
    columns = ["States", "Method", "Ratio", "95 %", "Note"]
    chart = {"rows": {"rows": dots}, "lists": {"names": [row["name"] for row in dots]}}
    sample = f"{formats.counted(len(known), 'ratio')}; a dot opens the failures of the first state."
    return View(says, sample, {"treatment_ratios": chart}, columns, table)


def _ratio_text(row: Row) -> str:
    return f"{formats.number(row['ratio'])} ({formats.interval(row['low'], row['high'])})"
