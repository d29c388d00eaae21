"""What the page of start-ups picks from the store: what is new, counts, the rows that it can hold.

Belongs here: SQL over the tables of start-ups. Does not belong here: any rule
(`pipelines.startups`), looks (`dashboards`).
"""

from __future__ import annotations

import duckdb
import polars as pl

from pipelines.store.database import LAST, has_table, query_frame

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


def most_pressing(con: duckdb.DuckDBPyConnection, most: int) -> dict[str, pl.DataFrame]:
    """Of reviews, recommendations and journeys so many rows, what presses most first."""
    return {name: query_frame(con, sql, {"most": most}) for name, sql in _LISTED.items()}


def startup_counts(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """How many units have each result, fault and state: what, word, units."""
    return query_frame(con, _COUNTS)


def new_reports(con: duckdb.DuckDBPyConnection, most: int) -> pl.DataFrame:
    """The newest start-up reports that the published store does not have, or has otherwise."""
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
        {"most": most},
    )


def new_results(con: duckdb.DuckDBPyConnection, most: int) -> pl.DataFrame:
    """The newest results of supply water that the published store does not have, by unit."""
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
        {"most": most},
    )
