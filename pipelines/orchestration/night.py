"""The warnings of a night as a table, and as checks that Dagster's page shows.

Belongs here: the asset. Does not belong here: the statistics (`pipelines.nightly`).
"""

from collections.abc import Iterator

import dagster as dg
import polars as pl

from pipelines.nightly.checks import night_checks
from pipelines.orchestration.resources import SESSION
from pipelines.orchestration.tables import schema_check, table_spec, write_table
from pipelines.store.database import read_frame
from schemas.accounts import NightChecks
from schemas.columns import column_names
from schemas.feeds import WaterTests

GROUP = "nightly"
# Freshness and shares are checks of feed_states and set_aside, and told there.
WARNINGS = {
    "claims_as_usual": ("claim_count", "The claims of the week are as many as usual."),
    "laboratories_as_usual": (
        "laboratory_values",
        "No laboratory's results have moved against the weeks before.",
    ),
}


@dg.multi_asset(
    specs=[
        table_spec(
            "night_checks",
            NightChecks,
            group=GROUP,
            deps=["feed_states", "decisions", "water_tests"],
        )
    ],
    check_specs=[
        schema_check("night_checks"),
        *(
            dg.AssetCheckSpec(name, asset="night_checks", description=text)
            for name, (_, text) in WARNINGS.items()
        ),
    ],
    required_resource_keys={SESSION},
)
def warnings_of_the_night(context: dg.AssetExecutionContext) -> Iterator[dg.MaterializeResult]:
    """Compares claims and laboratories with the weeks before."""
    session = context.resources.session
    with session.step("Checks of the night"):
        settings = session.inputs.settings
        found = night_checks(
            read_frame(session.con, "feed_states"),
            read_frame(session.con, "decisions", columns=["claim", "opened_on", "claimed_on"]),
            read_frame(session.con, "water_tests", columns=column_names(WaterTests)),
            session.inputs.as_of,
            settings.stale_after_days,
            settings.set_aside_tolerance,
        )
        result = write_table(session, "night_checks", found, NightChecks)
        yield result._replace(
            check_results=[
                *(result.check_results or []),
                *(_warning(found, name, check) for name, (check, _) in WARNINGS.items()),
            ]
        )


def _warning(found: pl.DataFrame, name: str, check: str) -> dg.AssetCheckResult:
    failed = found.filter((pl.col("check") == check) & ~pl.col("passed"))["sentence"].to_list()
    return dg.AssetCheckResult(
        passed=not failed,
        asset_key="night_checks",
        check_name=name,
        severity=dg.AssetCheckSeverity.WARN,
        metadata={"found": "\n".join(failed) or "nothing"},
    )
