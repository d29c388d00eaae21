"""The page of start-ups: what came in, the way of units, reviews and recommendations.

Belongs here: words and rows of the page. Does not belong here: what a report or a water comes to.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl
from markupsafe import Markup

from dashboards import formats
from dashboards.data import PageData
from dashboards.pages.way_of_units import STEP_WORDS, slices_of, steps_table, way_chart
from schemas import codes

STATE_WORDS = {
    "none_needed": "none needed",
    "kept_up": "kept up",
    "lapsed": "lapsed",
    "bought": "bought, not installed",
    "unsuitable": "unsuitable",
    "nothing_serves": "nothing serves",
    "overdue": "overdue",
    "open": "open",
    "waiting_for_result": "waiting for a result",
    "no_sample": "no sample",
    "no_startup": "no start-up",
}
SLICE_WORDS = {
    "family": "Family",
    "region": "Region",
    "purchased": "Quarter of purchase",
    "agency": "Agency",
}
MOST_NEW, FIRST_NEW = 60, 10
# A filter: its name, its label, and values with their words.
Choice = tuple[str, str, list[tuple[str, str]]]
READING_WORDS = {
    **{name: words for name, (words, _) in formats.READINGS.items()},
    "gas": "Gas",
    "level": "Level",
    "under_hood": "Under a hood",
    "sample_taken": "Water sample taken",
}
_REVIEWS = (
    "serial", "model", "family", "region", "site_name", "agency", "completed_on", "result",
    "faults", "missing", "sentence",
)  # fmt: skip
_ADVISED = (
    "serial", "model", "family", "region", "site_name", "state", "needs", "recommended", "tank_l",
    "due_on", "days_left", "kept_until", "sentence",
)  # fmt: skip
_WAYS = (
    "serial", "model", "family", "region", "purchased", "agency", "purchased_on", "requested_on",
    "completed_on", "sampled_on", "reported_on", "needs_treatment", "bought_on", "installed_on",
    "first_lapse_on", "installation",
)  # fmt: skip


def content(data: PageData) -> dict[str, Any]:
    """What the template needs."""
    slices = slices_of(data.journey_rates)
    return {
        "title": "Start-ups",
        "summary": _summary(data),
        "first_new": FIRST_NEW,
        "came_in": [
            _new(row, data.as_of) for row in data.came_in.head(MOST_NEW).iter_rows(named=True)
        ],
        "more_new": max(0, data.came_in.height - MOST_NEW),
        "counts": _counts(data),
        "slices": [(by, SLICE_WORDS[by], [*of]) for by, of in slices.items() if by != "all"],
        "way": way_chart(slices["all"]["all"]) if slices.get("all") else None,
        "steps": steps_table(slices["all"]["all"], "all", "all") if slices.get("all") else [],
        "tables": _tables(data),
        "page_data": Markup(formats.script_json(_page_data(data, slices))),
    }


def _summary(data: PageData) -> str:
    units_by_word = {
        (row["what"], row["word"]): row["units"] for row in data.startup_counts.to_dicts()
    }
    unsound = units_by_word.get(("result", "unsound"), 0)
    overdue, waiting = (
        units_by_word.get(("state", "overdue"), 0),
        units_by_word.get(("state", "waiting_for_result"), 0),
    )
    if not units_by_word:
        return "No start-up is on file yet."
    return (
        f"{formats.counted(unsound, 'unit')} unsound by the latest start-up; treatment is overdue "
        f"for {formats.whole(overdue)}, and {formats.whole(waiting)} wait for a result."
    )


def _new(row: Mapping[str, Any], as_of: dt.date) -> dict[str, str]:
    due = row["due_on"]
    return {
        "kind": row["kind"],
        "key": row["key"],
        "serial": row["serial"],
        "on": formats.day(row["on"]),
        "where": ", ".join(filter(None, (row["site_name"], row["agency"]))),
        "says": row["says"],
        "next": row["next_step"],
        # A day that is past is told as the day on which it was due.
        "due": "" if due is None else f"{'due' if due < as_of else 'by'} {formats.day(due)}",
        "stake": row["at_stake"] or "",
    }


def _counts(data: PageData) -> list[dict[str, Any]]:
    """The counts of each table, each with the address of the units behind it."""
    shown = {
        "result": ("Latest review", "reviews", "result", codes.REVIEW_RESULTS, {}),
        "fault": ("Unsound reading", "reviews", "faults", codes.REPORTED, READING_WORDS),
        "state": ("Treatment", "advised", "state", codes.RECOMMENDATION_STATES, STATE_WORDS),
    }
    units_by_word = {
        (row["what"], row["word"]): row["units"] for row in data.startup_counts.to_dicts()
    }
    return [
        {
            "title": title,
            "rows": [
                {
                    "word": words.get(word, word.replace("_", " ")),
                    "count": formats.whole(units_by_word[what, word]),
                    "href": f"#{table}?{column}={word}",
                }
                for word in order
                if (what, word) in units_by_word
            ],
        }
        for what, (title, table, column, order, words) in shown.items()
    ]


def _tables(data: PageData) -> list[dict[str, Any]]:
    """The tables that can be filtered, with the choices of each filter."""
    all_of = {row["what"]: 0 for row in data.startup_counts.to_dicts()}
    for row in data.startup_counts.to_dicts():
        all_of[row["what"]] += row["units"]
    steps = [(step, STEP_WORDS[step]) for step in codes.JOURNEY_STEPS]
    return [
        {
            "key": "reviews",
            "title": "Latest start-up of each unit",
            "file": "startup_reviews",
            "all": all_of.get("result", 0),
            "filters": [
                ("result", "Result", [(one, one) for one in codes.REVIEW_RESULTS]),
                ("faults", "Unsound", [(one, READING_WORDS[one]) for one in codes.REPORTED]),
                *_choices(data.startup_reviews, ("family", "region", "agency")),
            ],
        },
        {
            "key": "advised",
            "title": "What each water calls for",
            "file": "treatment_recommendations",
            "all": all_of.get("state", 0),
            "filters": [
                ("state", "State", [*STATE_WORDS.items()]),
                *_choices(data.treatment_recommendations, ("family", "region")),
            ],
        },
        {
            "key": "ways",
            "title": "The way of each unit",
            "file": "journeys",
            "all": None,
            "filters": [
                ("from", "Has come to", steps),
                ("to", "and to", steps),
                ("needs", "Needs treatment", [("yes", "yes"), ("no", "no")]),
                *_choices(data.journeys, ("family", "region", "purchased", "agency")),
            ],
        },
    ]


def _choices(rows: pl.DataFrame, names: Sequence[str]) -> list[Choice]:
    choices = []
    for name in names:
        values = rows[name].unique().drop_nulls().sort().to_list()
        choices.append((name, SLICE_WORDS[name], [(value, value) for value in [*values, "none"]]))
    return choices


def _page_data(
    data: PageData, slices: Mapping[str, Mapping[str, list[dict[str, Any]]]]
) -> dict[str, Any]:
    """What the script shows: the tables by column, and the chart and table of each slice."""
    frames = {
        "reviews": data.startup_reviews.select(_REVIEWS),
        "advised": data.treatment_recommendations.select(_ADVISED),
        "ways": data.journeys.select(_WAYS),
    }
    return {
        "tables": {
            key: {
                "columns": [name.replace("_", " ") for name in frame.columns],
                "names": frame.columns,
                "rows": [list(row) for row in frame.rows()],
            }
            for key, frame in frames.items()
        },
        "slices": {
            f"{by}/{value}": {"way": way_chart(rows), "steps": steps_table(rows, by, value)}
            for by, of in slices.items()
            for value, rows in of.items()
        },
    }
