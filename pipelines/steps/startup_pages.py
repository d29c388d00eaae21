"""Gathers from the store what the page of start-ups shows.

Belongs here: what is new, counts, and the rows that a page can hold. Does not belong here: any
rule (`pipelines.startups`), looks (`dashboards`).
"""

from __future__ import annotations

from typing import Any

import duckdb
import polars as pl

from pipelines.startups.what_came_in import what_came_in
from pipelines.store.database import LAST, has_table, query_frame, read_frame
from pipelines.store.lookups import rows_of

# So many rows a table are in the page; all are under data/.
MOST_ROWS, MOST_NEW = 3_000, 200
_REVIEWS = """
select * from startup_reviews where latest
order by result = 'sound', completed_on desc, report limit $most
"""
_ADVISED = """
select * from treatment_recommendations
order by state in ('none_needed', 'kept_up'), due_on nulls last, serial limit $most
"""
_WAYS = "select * from journeys order by purchased_on desc nulls last, serial limit $most"
_COUNTS = """
select 'result' as what, result as word, count(*) as units from startup_reviews
where latest group by result
union all
select 'fault', reading, count(*) from installation_findings
join startup_reviews using (report) where latest and outcome = 'unsound' group by reading
union all
select 'state', state, count(*) from treatment_recommendations group by state
"""


def startup_page_data(con: duckdb.DuckDBPyConnection) -> dict[str, Any]:
    """What `PageData` has of start-ups, by the names of its fields."""
    most = {"most": MOST_ROWS}
    return {
        "startup_reviews": query_frame(con, _REVIEWS, most),
        "treatment_recommendations": query_frame(con, _ADVISED, most),
        "journeys": query_frame(con, _WAYS, most),
        "journey_rates": read_frame(con, "journey_rates"),
        "startup_counts": query_frame(con, _COUNTS),
        "came_in": _came_in(con),
    }


def _came_in(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """The newest of what the published store does not have, or has otherwise."""
    reports, results = _new_reports(con), _new_results(con)
    serials = pl.concat([reports["serial"], results["serial"]])
    return what_came_in(
        reports,
        results,
        rows_of(con, "startup_reviews", reports["report"]),
        rows_of(con, "treatment_recommendations", serials),
        rows_of(con, "upcoming", serials),
    )


def _new_reports(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    known = f"{LAST}.startups"
    if not has_table(con, known):
        known = "(from startups limit 0)"
    return query_frame(
        con,
        "select s.report, s.serial, u.site_name, s.agency, s.requested_on, s.completed_on "
        "from startups s join units u using (serial) "
        f"where not exists (from {known} l where l.report = s.report "
        "and l.completed_on is not distinct from s.completed_on "
        "and l.requested_on is not distinct from s.requested_on) "
        "order by coalesce(s.completed_on, s.requested_on) desc nulls last, s.report limit $most",
        {"most": MOST_NEW},
    )


def _new_results(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    known = f"{LAST}.water_tests"
    if not has_table(con, known):
        known = "(from water_tests limit 0)"
    return query_frame(
        con,
        "select t.sample, x.serial, u.site_name, t.reported_on, x.complete "
        "from water_tests t join unit_samples x using (sample) "
        "join units u on u.serial = x.serial where t.point = 'supply' "
        f"and not exists (from {known} l where l.sample = t.sample "
        "and l.reported_on is not distinct from t.reported_on) "
        "order by t.reported_on desc nulls last, t.sample, x.serial limit $most",
        {"most": MOST_NEW},
    )
