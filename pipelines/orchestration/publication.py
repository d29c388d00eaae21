"""What people read: table files and pages.

Belongs here: the assets. Does not belong here: what is staged and swapped
(`pipelines.steps.publish`).
"""

from collections.abc import Iterator

import dagster as dg

from pipelines.orchestration.resources import SESSION
from pipelines.steps.publish import TABLES, publish, stage
from schemas.codes import FEEDS

GROUP = "publication"


@dg.multi_asset(
    specs=[
        dg.AssetSpec(
            "published_data",
            deps=[dg.AssetKey(name) for name in TABLES],
            group_name=GROUP,
            kinds={"parquet", "csv"},
            description="One file is one table of the store, as Parquet and as CSV.",
        ),
        dg.AssetSpec(
            "published_pages",
            deps=["published_data", *FEEDS, "terms_values"],
            group_name=GROUP,
            kinds={"altair", "html"},
            description="One file is one page; the folder is swapped whole.",
        ),
    ],
    required_resource_keys={SESSION},
)
def publication(context: dg.AssetExecutionContext) -> Iterator[dg.MaterializeResult]:
    """Stages tables and pages, and puts the new store and pages in the old ones' place."""
    session = context.resources.session
    with session.step("Tables and pages for people"):
        staged = stage(session)
        publish(session)
    yield dg.MaterializeResult(asset_key="published_data", metadata={"tables": staged.tables})
    pages = session.inputs.workspace.published / "index.html"
    yield dg.MaterializeResult(
        asset_key="published_pages",
        metadata={
            "claim_pages": staged.claim_pages,
            "pages": dg.MetadataValue.path(str(pages)),
        },
    )
