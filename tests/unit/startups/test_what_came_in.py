"""What came in, with the next step for each, in the order in which it is due."""

import datetime as dt

import polars as pl

from pipelines.startups.what_came_in import what_came_in
from schemas.columns import polars_schema
from schemas.histories import Upcoming
from schemas.startups import CAME_IN, StartupReviews, TreatmentRecommendations

DAY = dt.date
REPORTS = {"report": pl.String, "serial": pl.String, "site_name": pl.String, "agency": pl.String,
           "requested_on": pl.Date, "completed_on": pl.Date}  # fmt: skip
RESULTS = {"sample": pl.String, "serial": pl.String, "site_name": pl.String,
           "reported_on": pl.Date, "complete": pl.Boolean}  # fmt: skip


def rows(table, *given: dict) -> pl.DataFrame:
    """Rows of a table class; what is not given is null."""
    schema = polars_schema(table)
    return pl.DataFrame([dict.fromkeys(schema) | row for row in given], schema=schema)


def test_each_kind_has_its_next_step_and_the_soonest_comes_first():
    """Faults are due at once, a treatment by its day; what asks for nothing comes last."""
    reports = pl.DataFrame(
        [("R1", "U1", None, "A", DAY(2026, 9, 1), None),
         ("R2", "U2", None, "A", DAY(2026, 9, 1), DAY(2026, 9, 9)),
         ("R3", "U3", None, "A", DAY(2026, 9, 1), DAY(2026, 9, 8))],
        schema=REPORTS, orient="row",
    )  # fmt: skip
    results = pl.DataFrame(
        [("S4", "U4", None, DAY(2026, 9, 5), True), ("S5", "U5", None, DAY(2026, 9, 5), False),
         ("S6", "U3", None, DAY(2026, 9, 5), True)],
        schema=RESULTS, orient="row",
    )  # fmt: skip
    reviews = rows(
        StartupReviews,
        {"report": "R2", "serial": "U2", "completed_on": DAY(2026, 9, 9), "result": "unsound",
         "faults": "water_lines", "sentence": "To be mended."},
        {"report": "R3", "serial": "U3", "completed_on": DAY(2026, 9, 8), "result": "sound",
         "sentence": "Nothing to mend."},
    )  # fmt: skip
    advised = rows(
        TreatmentRecommendations,
        {"serial": "U4", "state": "open", "sentence": "Buy SOFT.", "due_on": DAY(2026, 9, 7)},
        {"serial": "U3", "state": "kept_up", "sentence": "Kept up."},
    )
    upcoming = rows(
        Upcoming,
        {"serial": "U1", "matter": "start-up outstanding", "due_on": DAY(2026, 12, 1)},
    )
    found = what_came_in(reports, results, reviews, advised, upcoming)
    assert found.schema == CAME_IN
    assert found.select("key", "kind", "due_on").rows() == [
        ("S4", "result", DAY(2026, 9, 7)),
        ("R2", "report", DAY(2026, 9, 9)),
        ("R1", "request", DAY(2026, 12, 1)),
        ("R3", "report", None),
        ("S6", "result", None),
        ("S5", "result", None),
    ]
    steps = dict(found.select("key", "next_step").iter_rows())
    assert steps["S4"] == "Buy SOFT."
    assert steps["R2"] == "Have licensed people mend it and report again: number of water lines."
    assert steps["R3"] == steps["S5"] == steps["S6"] == "Nothing more."
