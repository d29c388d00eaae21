"""What the rates would be, were clock starts or reports otherwise."""

from __future__ import annotations

from dashboards import formats
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
    )


_SHORT = {
    "without clock starts taken from shipment": "sure clock starts",
    "unsound clock starts taken from shipment": "unsound ones too",
    "completed for reports to come": "reports to come",
}


def _view(rows: list[Row]) -> View:
    known = [row for row in rows if row["rate_per_100"] is not None]
    as_watched, *others = known
    says = f"As watched, {rate_text(as_watched)}"
    furthest = max(
        others, key=lambda row: abs(row["rate_per_100"] - as_watched["rate_per_100"]), default=None
    )
    if furthest and furthest["rate_per_100"] == as_watched["rate_per_100"]:
        says += "; the same under every assumption"
    elif furthest:
        says += f"; furthest from it {furthest['assumption']}: {rate_text(furthest)}"
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
            formats.number(row["failures"], 4),
            formats.whole(row["units"]),
            formats.number(row["unit_years"], 4),
            formats.number(row["rate_per_100"]),
            formats.interval(row["low"], row["high"]),
        ]
        for row in rows
    ]
    columns = ["Assumption", "Failures", "Units", "Unit-years", "Per 100 unit-years", "95 %"]
    sample = (
        f"{formats.number(as_watched['failures'], 4)} failures in "
        f"{formats.number(as_watched['unit_years'], 4)} unit-years of "
        f"{formats.counted(as_watched['units'], 'unit')}."
    )
    chart = {"rows": {"rows": dots}, "lists": {"names": [row["name"] for row in dots]}}
    return View(f"{says}.", sample, {"assumptions": chart}, columns, table)
