"""The page of start-ups: what came in, counts that open their units, the way step by step."""

import datetime as dt
import json
from dataclasses import replace

import polars as pl

from dashboards import data as shown
from dashboards.data import PageData
from dashboards.pages import startups
from dashboards.site import _environment
from schemas import startups as schemas

DAY = dt.date
BASE = {"maker": "Tarnfell", "as_of": DAY(2026, 9, 30), "timezone": "UTC", "currency": "USD"}


def frame(schema: pl.Schema, *rows: dict) -> pl.DataFrame:
    """Rows of a schema; what a row does not give is null, or an empty list."""
    blank = {name: [] if isinstance(kind, pl.List) else None for name, kind in schema.items()}
    return pl.DataFrame([blank | row for row in rows], schema=schema)


def rate(by: str, value: str, step: str, share: float | None, **more) -> dict:
    """One step in one slice."""
    row = {"by": by, "value": value, "step": step, "from_step": "purchased", "units": 20,
           "reached": 12, "median_days": 14, "thin": False}  # fmt: skip
    for days in (30, 60, 90, 180):
        row |= {f"share_{days}": share, f"share_{days}_low": 0.4, f"share_{days}_high": 0.8}
    return row | more


def page() -> PageData:
    """Two units: one unsound and overdue, one in order."""
    review = {"report": "R1", "serial": "U1", "model": "M", "family": "F", "region": "US-NC",
              "completed_on": DAY(2026, 9, 1), "latest": True, "result": "unsound",
              "faults": "level; water_lines", "sentence": "To be mended."}  # fmt: skip
    advised = {"serial": "U1", "model": "M", "family": "F", "state": "overdue", "needs": "scale",
               "at_stake": "cover", "sentence": "<b>Buy</b> it."}  # fmt: skip
    way = {"serial": "U1", "model": "M", "family": "F", "purchased": "2026-Q3", "agency": "A & B"}
    counts = [("result", "unsound", 1), ("fault", "level", 1), ("state", "overdue", 1)]
    new = {"kind": "report", "key": "R1", "on": DAY(2026, 9, 1), "serial": "U1", "agency": "A & B",
           "says": "Unsound.", "next_step": "Mend it.", "due_on": DAY(2026, 9, 1)}  # fmt: skip
    return PageData(
        **BASE,
        startup_reviews=frame(shown.STARTUP_REVIEWS, review),
        treatment_recommendations=frame(shown.RECOMMENDATIONS, advised),
        journeys=frame(shown.JOURNEYS, way),
        journey_rates=frame(
            shown.JOURNEY_RATES,
            rate("all", "all", "requested", 0.6),
            rate("region", "US-NC", "bought", None, from_step="reported", median_days=None),
            rate("agency", "A & B", "requested", 0.5),
        ),
        startup_counts=pl.DataFrame(counts, schema=schemas.STARTUP_COUNTS, orient="row"),
        came_in=frame(schemas.CAME_IN, new),
    )


def rendered(data: PageData) -> str:
    """The page as text."""
    fill = startups.content(data) | {"page": "startups", "root": ""}
    return _environment(data).get_template("startups.html").render(fill)


def test_every_count_opens_the_units_behind_it():
    """Counts of results, readings and states name a table and its filter; so do steps."""
    text = rendered(page())
    for address in ("#reviews?result=unsound", "#reviews?faults=level", "#advised?state=overdue"):
        assert f'href="{address}">1</a>' in text
    assert 'href="#ways?from=purchased">20</a>' in text
    assert 'href="#ways?from=purchased&amp;to=requested">12</a>' in text
    told = startups.content(page())
    slices = json.loads(str(told["page_data"]))["slices"]
    (step,) = slices["region/US-NC"]["steps"]
    assert step[2] == ["12", "#ways?from=reported&needs=yes&region=US-NC&to=bought"]
    assert step[3:] == ["–"] * 5
    (step,) = slices["agency/A & B"]["steps"]
    assert step[1] == ["20", "#ways?from=purchased&agency=A%20%26%20B"]


def test_the_steps_tell_share_limits_and_median():
    """In percent, with both limits."""
    [step] = startups.content(page())["steps"]
    assert step[0] == "Start-up asked for"
    assert step[3:5] == ["14 days", "60% (40% to 80%)"]


def test_nothing_of_the_data_is_run():
    """Texts are escaped in the page and in what the script reads."""
    text = rendered(page())
    assert "<b>Buy</b>" not in text
    assert "A &amp; B" in text


def test_a_step_is_due_by_its_day_and_was_due_after_it():
    """The as-of day is the last on which something can be done by it."""
    assert "Next, due 2026-09-01:" in rendered(page())
    whole = page()
    for day in (BASE["as_of"], BASE["as_of"] + dt.timedelta(days=1)):
        whole = replace(whole, came_in=whole.came_in.with_columns(due_on=pl.lit(day)))
        assert f"Next, by {day}:" in rendered(whole)


def test_an_empty_workspace_has_its_page():
    """It says so; without rates there is no chart."""
    text = rendered(PageData(**BASE))
    assert "No start-up is on file yet." in text
    assert "No request, report or result is new" in text
    assert 'id="way-chart"' not in text
