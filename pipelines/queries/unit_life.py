"""One unit: its life, its start-ups with reviews, tests, recommendation, treatment, calls, claims.

Belongs here: reading what is on file of a unit from the store and the desk. Does not belong here:
how it is told (`pipelines.cli.unit`, `pipelines.desk`).
"""

from __future__ import annotations

from typing import Any

import duckdb
import polars as pl

from pipelines.errors import NotFoundError
from pipelines.events import is_there, open_desk
from pipelines.records.typed_values import serials
from pipelines.store.database import has_table, query_frame
from pipelines.store.reading import open_store, published_state
from pipelines.water.limits import against_limits
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import load_settings
from schemas import codes

MOST_NEAR = 3
_LETTERS = "entry, kind, claim, report, sample, as_of, state, agency, sent_on, due_on, subject"
_NEAREST = """
select serial from units order by levenshtein(serial, $serial), serial limit $most
"""
_FRAMES = {
    "journey": "select * exclude (agency, left_on) from journeys where serial = $serial",
    "recommendation": "select * from treatment_recommendations where serial = $serial",
    "events": "select day, event, feed, key from unit_events where serial = $serial",
    "startups": "select report, requested_on, case when completed_on <= $day then completed_on end "
    "as completed_on, agency, notes from startups "
    "where serial = $serial and coalesce(requested_on, completed_on, $day) <= $day "
    "order by completed_on nulls last, report",
    "reviews": "select * from startup_reviews where serial = $serial",
    "findings": "select * from installation_findings where serial = $serial",
    "tests": "select t.*, h.edition, h.family from unit_water_tests t join unit_histories h "
    "using (serial) where serial = $serial order by sampled_on, sample",
    "purchases": 'select "order", line, ordered_on, product, quantity, condition, seller, kind, '
    "fits, approved_seller, bought_new from unit_purchases where serial = $serial "
    'order by ordered_on, "order", line',
    "calls": "select call, claim, kind, opened_on, "
    "case when failed_on <= $day then failed_on end as failed_on, "
    "case when completed_on <= $day then completed_on end as completed_on, agency, performed_by, "
    "product, cause, part, notes from service_calls where serial = $serial "
    "and opened_on <= $day order by opened_on, call",
    "claims": "select claim, call, failed_on, verdict, lead_reason, ruling, standing, agency "
    "from decisions where serial = $serial order by failed_on, claim",
}


# What of one day comes first: as things happen, not as feeds and words are sorted.
_OF_A_DAY = {
    event: place
    for place, event in enumerate(
        (
            "shipped",
            "purchased",
            "installed",
            "startup requested",
            "startup completed",
            "water sampled",
            "treatment ordered",
            "treatment installed",
            "failed",
            "call opened",
            "call completed",
            "claimed",
            "ruled",
            "credited",
            "retired",
        )
    )
}


def in_order(events: pl.DataFrame) -> pl.DataFrame:
    """Events of a unit (day, event, feed, key) by day and, within one, as things happen."""
    place = pl.col("event").replace_strict(_OF_A_DAY, return_dtype=pl.Int8)
    return events.sort("day", place, "feed", "key")


def unit_life(workspace: Workspace, typed: str) -> dict[str, Any]:
    """Everything that is on file of a unit as of the last refresh, in plain values.

    Args:
        workspace: refreshed by this version of the tool.
        typed: the serial, as a person writes it.

    Raises:
        NotFoundError: the register has no such unit; the nearest are named.
    """
    serial = pl.select(serials(pl.lit(typed))).item() or ""
    with open_store(workspace) as con:
        as_of = published_state(workspace, con).as_of
        [*known] = _rows(con, "select * from unit_histories where serial = $serial", serial)
        if not known:
            raise NotFoundError(_no_such_unit(con, typed, serial))
        parameters = {"serial": serial, "day": as_of}
        frames = {
            name: query_frame(con, sql, {n: v for n, v in parameters.items() if f"${n}" in sql})
            for name, sql in _FRAMES.items()
        }
        letters = _letters(con, serial)
        limits = query_frame(con, "select * from terms_water_limits")
    claims = frames["claims"]["claim"].to_list()
    return {
        "serial": serial,
        "as_of": as_of,
        "unit": known[0],
        "journey": next(iter(frames["journey"].to_dicts()), None),
        "recommendation": next(iter(frames["recommendation"].to_dicts()), None),
        "events": in_order(frames["events"]).to_dicts(),
        "startups": _startups(frames),
        "tests": _tests(frames["tests"], limits),
        "purchases": frames["purchases"].to_dicts(),
        "calls": frames["calls"].to_dicts(),
        "claims": frames["claims"].to_dicts(),
        "letters": letters,
        "notes": _notes(workspace, claims),
    }


def _rows(con: duckdb.DuckDBPyConnection, sql: str, serial: str) -> list[dict[str, Any]]:
    return query_frame(con, sql, {"serial": serial}).to_dicts()


def _no_such_unit(con: duckdb.DuckDBPyConnection, typed: str, serial: str) -> str:
    near = query_frame(con, _NEAREST, {"serial": serial, "most": MOST_NEAR})["serial"].to_list()
    nearest = f" The nearest on it: {', '.join(near)}." if near else ""
    return f"There is no unit {typed} on the register as of the last refresh.{nearest}"


def _startups(frames: dict[str, pl.DataFrame]) -> list[dict[str, Any]]:
    """Each report with its review (null until it is completed) and the findings behind it."""
    reviews = {row["report"]: row for row in frames["reviews"].to_dicts()}
    order = {name: place for place, name in enumerate(codes.REPORTED)}
    findings: dict[str, list[dict[str, Any]]] = {}
    for row in sorted(frames["findings"].to_dicts(), key=lambda row: order[row["reading"]]):
        findings.setdefault(row["report"], []).append(row)
    return [
        row
        | {
            "review": reviews.get(row["report"]),
            "findings": findings.get(row["report"], []),
        }
        for row in frames["startups"].to_dicts()
    ]


def _tests(tests: pl.DataFrame, limits: pl.DataFrame) -> list[dict[str, Any]]:
    """Each test with what it reports beside the limits of the unit's terms."""
    beside = against_limits(tests, limits).to_dicts() if tests.height else []
    analyte_columns = ("analyte", "value", "below", "min", "max", "needs", "outside")
    of_sample: dict[str, list[dict[str, Any]]] = {}
    for row in beside:
        of_sample.setdefault(row["sample"], []).append(
            {name: row[name] for name in analyte_columns}
        )
    columns = ("sample", "point", "sampled_on", "reported_on", "lab", "complete", "profile")
    return [
        {name: row[name] for name in columns} | {"analytes": of_sample.get(row["sample"], [])}
        for row in tests.select(columns).to_dicts()
    ]


def _letters(con: duckdb.DuckDBPyConnection, serial: str) -> list[dict[str, Any]]:
    """What the register of letters has of the unit and of its claims."""
    if not has_table(con, "letters"):
        return []
    chosen = "serial = $serial or claim in (select claim from decisions where serial = $serial)"
    return _rows(con, f"select {_LETTERS} from letters where {chosen} order by entry", serial)


def _notes(workspace: Workspace, claims: list[str]) -> list[dict[str, Any]]:
    """What people noted on the unit's claims at the desk."""
    settings = load_settings(workspace)
    if not claims or not is_there(workspace, settings):
        return []
    desk = open_desk(workspace, settings)
    try:
        with desk.reading() as connection:
            return [
                {"claim": claim, "at": note.at, "by": note.actor, "text": note.payload["text"]}
                for claim in claims
                for note in desk.events(connection, claim=claim, kinds=["note"])
            ]
    finally:
        desk.close()
