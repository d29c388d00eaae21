"""Treatment kept up, lapsed or missing: rates by state, and ratios between states."""

from __future__ import annotations

from dashboards import formats
from dashboards.figures.cuts import (
    ALL,
    EVENT_CHOICES,
    EVENT_WORDS,
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
    "mantel_haenszel": "by needs and family",
    "cox": "by age",
    "cox_first": "hazard of first failures alone",
}
_COMPARED = ("treated vs untreated", "treated vs lapsed", "lapsed vs untreated")
_ALLOWING = {
    "crude": "",
    "mantel_haenszel": ", needs and family allowed for",
    "cox": ", at the same age",
    "cox_first": ", first failures alone",
}
_CAUTION = (
    "This is association, not proof: treatment fitted after a first failure is confounded by it."
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
            if rows:
                rate_views[f"{event}/{pick.key}"] = _rates_view(rows, event)
            found = ratios.rows(pick.dimension, **fixed) if ratios else []
            if any(row["ratio"] is not None for row in found):
                ratio_views[f"{event}/{pick.key}"] = _ratios_view(found, event)
    figures = [
        Figure(
            "treatment-rates",
            "Rates by state of the treatment",
            [("treatment_rates", "treatment_rates")],
            rate_views,
            reading="A unit’s days are split at each change of state, so that no time before the "
            "installation counts for the treatment.",
        ),
        Figure(
            "treatment-ratios",
            "Ratios between states",
            [("treatment_ratios", "treatment_ratios")],
            ratio_views,
            reading="Below 1 the first state fails less than the second: crude, within water "
            "profiles (Mantel–Haenszel), and at the same age (Cox, delayed entry).",
        ),
    ]
    return Section(
        "treatment",
        "Does treatment help?",
        [figure for figure in figures if figure.views],
        EVENT_CHOICES,
        "Show",
        [_CAUTION, *field.cautions("treatment_effect", "treatment_ratios")],
    )


def _rates_view(rows: list[Row], event: str) -> View:
    rows = sorted(rows, key=lambda row: list(STATES).index(row["state"]))
    dots = [
        dot(
            STATES[row["state"]], row["rate_per_100"], row["low"], row["high"], row["thin"],
            rate_text(row),
        )
        for row in rows
        if row["rate_per_100"] is not None
    ]  # fmt: skip
    by_state = {row["state"]: row for row in rows if row["rate_per_100"] is not None}
    treated = by_state.get("treated")
    says = f"No time with treatment kept up to compare in {EVENT_WORDS[event]}."
    if treated is not None:
        says = f"With treatment kept up, {EVENT_WORDS[event]} run at {rate_text(treated)}"
        others = [
            f"{formats.number(by_state[state]['rate_per_100'])} {words}"
            for state, words in (("lapsed", "where it lapsed"), ("untreated", "without it"))
            if state in by_state
        ]
        says += f", against {formats.listed(others)}." if others else "."
    table = [
        [
            STATES[row["state"]] + (" (thin)" if row["thin"] else ""),
            formats.whole(row["failures"]),
            formats.number(row["unit_years"], 4),
            formats.number(row["rate_per_100"]),
            formats.interval(row["low"], row["high"]),
        ]
        for row in rows
    ]
    columns = ["State", "Failures", "Unit-years", "Per 100 unit-years", "95 %"]
    chart = {"rows": {"rows": dots}, "lists": {"names": [row["name"] for row in dots]}}
    return View(says, exposure(rows), {"treatment_rates": chart}, columns, table)


def _ratios_view(rows: list[Row], event: str) -> View:
    rows = sorted(rows, key=lambda row: (_COMPARED.index(row["comparison"]), row["method"]))
    known = [row for row in rows if row["ratio"] is not None]
    dots = [
        dot(
            f"{row['comparison']}, {METHODS[row['method']]}", row["ratio"], row["low"],
            row["high"], row["thin"], _ratio_text(row),
        )
        for row in known
    ]  # fmt: skip
    within = [row for row in known if row["method"] == "mantel_haenszel"] or known
    row = within[0]
    says = (
        f"{row['comparison'].capitalize()}: {_ratio_text(row)} times the rate of "
        f"{EVENT_WORDS[event]}{_ALLOWING[row['method']]}."
    )
    table = [
        [
            row["comparison"],
            METHODS[row["method"]],
            formats.number(row["ratio"]),
            formats.interval(row["low"], row["high"]),
            row["note"] or "",
        ]
        for row in rows
    ]
    columns = ["States", "Method", "Ratio", "95 %", "Note"]
    chart = {"rows": {"rows": dots}, "lists": {"names": [row["name"] for row in dots]}}
    sample = f"{formats.counted(len(known), 'ratio')}, from the failures and time above."
    return View(says, sample, {"treatment_ratios": chart}, columns, table)


def _ratio_text(row: Row) -> str:
    return f"{formats.number(row['ratio'])} ({formats.interval(row['low'], row['high'])})"
