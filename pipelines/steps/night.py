"""What a night should look at twice, as a table with its checks.

Belongs here: reading what is compared. Does not belong here: the statistics (`pipelines.nightly`).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator

import duckdb

from pipelines.nightly.checks import night_checks
from pipelines.steps.step import Check, Step, Written
from pipelines.store.database import read_frame
from pipelines.store.lookups import failed_night_checks
from pipelines.store.transaction import RefreshSession
from schemas.accounts import NightChecks
from schemas.columns import column_names
from schemas.feeds import WaterTests

# Freshness and shares are checks of feed_states and set_aside, and told there.
WARNINGS = {
    "claims_as_usual": ("claim_count", "The claims of the week are as many as usual."),
    "laboratories_as_usual": (
        "laboratory_values",
        "No laboratory's results have moved against the weeks before.",
    ),
}


def night_table(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """Compares claims and laboratories with the weeks before."""
    del wanted  # one table
    settings = session.inputs.settings
    checks = night_checks(
        read_frame(session.con, "feed_states"),
        read_frame(session.con, "decisions", columns=["claim", "opened_on", "claimed_on"]),
        read_frame(session.con, "water_tests", columns=column_names(WaterTests)),
        session.inputs.as_of,
        settings.stale_after_days,
        settings.set_aside_tolerance,
    )
    session.put(session.write("night_checks", checks, NightChecks))
    yield Written("night_checks")


def _unusual(check: str) -> Callable[[duckdb.DuckDBPyConnection], list[str]]:
    def look(con: duckdb.DuckDBPyConnection) -> list[str]:
        return failed_night_checks(con, check)

    return look


STEP = Step(
    name="warnings_of_the_night",
    group="nightly",
    title="Checks of the night",
    tables={"night_checks": NightChecks},
    reads=("feed_states", "decisions", "water_tests"),
    work=night_table,
    rooms=("pipelines/nightly", "pipelines/steps/night.py"),
    checks=tuple(
        Check(name, "night_checks", text, _unusual(check))
        for name, (check, text) in WARNINGS.items()
    ),
)
