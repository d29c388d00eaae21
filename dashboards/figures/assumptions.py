"""What the rates would be, were clock starts or reports otherwise."""

from __future__ import annotations

from dashboards import formats
from dashboards.figures.behind import Cell, Linked, selection
from dashboards.figures.cuts import ALL, Field, Figure, Row, View, dot, rate_text


def figure(field: Field) -> Figure | None:
    """The rates under each assumption, for the whole field and each region; None without them."""
    views = {}
    for pick in field.picks:
        if pick.dimension in (ALL, "region"):
            rows = [row for row in field.sensitivity if row["region"] == pick.value]
            if any(row["rate_per_100"] is not None for row in rows):
                views[f"*/{pick.key}"] = _view(rows)
    if not views:
        return None
    return Figure(
        "assumptions",
        "If clock starts or reports were otherwise",
        [("assumptions", "rates")],
        views,
        reading="As watched is what all figures rest on. Sure clock starts: without units whose "
        "start was taken from shipment. Unsound ones too: units that are left out everywhere else "
        "are watched from their shipment. Reports to come: failures are weighed for those that are "
        "not reported yet.",
        handout="sensitivity",
    )


_SHORT = {
    "without clock starts taken from shipment": "sure clock starts",
    "unsound clock starts taken from shipment": "unsound ones too",
    "completed for reports to come": "reports to come",
}


def _failures(row: Row) -> Cell:
    """As watched they can be listed; under other assumptions they are others, or no whole ones."""
    text = formats.number(row["failures"], 4)
    watched = row["assumption"] == "as watched"
    return Linked(text, selection(region=row["region"])) if watched else text


def _view(rows: list[Row]) -> View:
    known = [row for row in rows if row["rate_per_100"] is not None]
    as_watched = known[0]
    dots = [
        dot(
            _SHORT.get(row["assumption"]) or row["assumption"],
            row["rate_per_100"], row["low"], row["high"], row["thin"], rate_text(row),
        )
        for row in known
    ]  # fmt: skip
    table = [
        [
            row["assumption"] + (" (thin)" if row["thin"] else ""),
            _failures(row),
            formats.whole(row["units"]),
            formats.number(row["unit_years"], 4),
            formats.number(row["rate_per_100"]),
            formats.interval(row["low"], row["high"]),
        ]
        for row in rows
    ]
    columns = ["Assumption", "Failures", "Units", "Unit-years", "Per 100 unit-years", "95 %"]
    sample = (
        f"{formats.counted(round(as_watched['failures']), 'failure')} in "
        f"{formats.number(as_watched['unit_years'], 4)} unit-years of "
        f"{formats.counted(as_watched['units'], 'unit')}."
    )
    chart = {"rows": {"rows": dots}, "lists": {"names": [row["name"] for row in dots]}}
    return View("", sample, {"assumptions": chart}, columns, table)
