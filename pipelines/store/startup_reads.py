"""What the page of start-ups picks from the store: what is new, counts, the rows that it can hold.

Belongs here: SQL over the tables of start-ups. Does not belong here: any rule
(`pipelines.startups`), looks (`dashboards`).
"""

from __future__ import annotations

import datetime as dt

import duckdb
import polars as pl

from pipelines.store.database import LAST, has_table, query_frame
from pipelines.store.published_state import state_of

_LISTED = {
    "startup_reviews": """
select * from startup_reviews where latest
order by result = 'sound', completed_on desc, report limit $most
""",
    "treatment_recommendations": """
select * from treatment_recommendations
order by state in ('none_needed', 'kept_up'), due_on nulls last, serial limit $most
""",
    "journeys": """
select * from journeys order by purchased_on desc nulls last, serial limit $most
""",
}
_COUNTS = """
select 'result' as what, result as word, count(*) as units from startup_reviews
where latest group by result
union all
select 'fault', reading, count(*) from installation_findings
join startup_reviews using (report) where latest and outcome = 'unsound' group by reading
union all
select 'state', state, count(*) from treatment_recommendations group by state
"""


# What is on file of reports by a day: a later date is not yet known, a later request not seen.
_REPORTS = """
select report, serial, agency, requested_on,
    case when completed_on <= {1} then completed_on end as completed_on
from {0} where coalesce(requested_on, completed_on, {1}) <= {1}
"""


def most_pressing(con: duckdb.DuckDBPyConnection, most: int) -> dict[str, pl.DataFrame]:
    """Of reviews, recommendations and journeys so many rows, what presses most first."""
    return {name: query_frame(con, sql, {"most": most}) for name, sql in _LISTED.items()}


def startup_counts(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """How many units have each result, fault and state: what, word, units."""
    return query_frame(con, _COUNTS)


def new_reports(con: duckdb.DuckDBPyConnection, as_of: dt.date, most: int) -> pl.DataFrame:
    """The newest start-up reports, as they are known by the day, that the published store did not
    know, or knew otherwise, by its own."""
    now = _REPORTS.format("startups", "$now")
    before = _REPORTS.format(_last(con, "startups"), "$last")
    return query_frame(
        con,
        f"with known as ({now}), before as ({before}) "
        "select s.report, s.serial, u.site_name, s.agency, s.requested_on, s.completed_on "
        "from known s join units u using (serial) "
        "where not exists (from before l where l.report = s.report "
        "and l.completed_on is not distinct from s.completed_on "
        "and l.requested_on is not distinct from s.requested_on) "
        "order by coalesce(s.completed_on, s.requested_on) desc nulls last, s.report limit $most",
        {"now": as_of, "last": _last_day(con), "most": most},
    )


def new_results(con: duckdb.DuckDBPyConnection, most: int) -> pl.DataFrame:
    """The newest results of supply water that the published store did not know, by unit."""
    known = _last(con, "water_tests")
    return query_frame(
        con,
        "select t.sample, x.serial, u.site_name, t.reported_on, x.complete "
        "from water_tests t join unit_samples x using (sample) "
        "join units u on u.serial = x.serial where t.point = 'supply' "
        f"and not exists (from {known} l where l.sample = t.sample "
        "and l.reported_on is not distinct from t.reported_on "
        "and coalesce(l.reported_on, l.sampled_on) <= $last) "
        "order by t.reported_on desc nulls last, t.sample, x.serial limit $most",
        {"last": _last_day(con), "most": most},
    )


def _last(con: duckdb.DuckDBPyConnection, feed: str) -> str:
    """The feed's records in the published store; none where there is no such store."""
    known = f"{LAST}.{feed}"
    return known if has_table(con, known) else f"(from {feed} limit 0)"


def _last_day(con: duckdb.DuckDBPyConnection) -> dt.date:
    """The day as of which the published store is; without one all that it has was known."""
    state = state_of(con, last=True)
    return state.as_of if state else dt.date.max
