"""The exports as tables: files, landed rows, records, and what became of every row.

Belongs here: the assets and their order. Does not belong here: reading
(`pipelines.steps.landing`) or accounting (`pipelines.records`).
"""

from collections.abc import Iterator

import dagster as dg
import polars as pl

from pipelines.orchestration.reference import REFERENCE_ASSETS
from pipelines.orchestration.resources import SESSION
from pipelines.orchestration.tables import TableWriter, schema_check, table_spec, write_table
from pipelines.records.accounting import Accounted
from pipelines.steps.ingest import (
    all_left_out,
    all_set_aside,
    feed_states,
    row_accounts,
    settle,
    unbalanced,
)
from pipelines.steps.landing import PARSED_LEFT_OUT, PARSED_SET_ASIDE, land
from pipelines.store.database import append_frame, drop_table, read_frame, write_frame
from pipelines.store.deliveries import FILE_PARTS
from pipelines.store.invalidation import note_touched
from pipelines.store.last_refresh import TOUCHED
from pipelines.store.transaction import RefreshSession
from schemas.accounts import LeftOut, RowAccounts, SetAside
from schemas.codes import FEEDS
from schemas.feeds import FEED_TABLES

GROUP = "exports"
# Records are written and checked so many at a time, to bound the memory.
SLICE_ROWS = 500_000


def _specs() -> list[dg.AssetSpec]:
    files = dg.AssetSpec(
        "export_files",
        group_name=GROUP,
        kinds={"csv", "duckdb"},
        description="One row is one file under exports/: its hash, its form and what is new of it.",
    )
    landed = [
        dg.AssetSpec(
            f"landed_{feed}",
            deps=["export_files"],
            group_name=GROUP,
            kinds={"csv", "duckdb"},
            description=f"One row is one row of a {feed} export as it came, with its place.",
        )
        for feed in FEEDS
    ]
    records = [
        table_spec(
            feed,
            table,
            group=GROUP,
            deps=[f"landed_{feed}", *REFERENCE_ASSETS],
            about="The version that stands, with its file and line.",
        )
        for feed, table in FEED_TABLES.items()
    ]
    fates = dg.AssetSpec(
        "row_fates",
        deps=list(FEEDS),
        group_name=GROUP,
        kinds={"polars", "duckdb"},
        description="One row is one typed row: record, superseded, duplicate or set aside.",
    )
    accounts = table_spec("row_accounts", RowAccounts, group=GROUP, deps=FEEDS)
    aside = table_spec("set_aside", SetAside, group=GROUP, deps=FEEDS)
    left_out = table_spec("left_out", LeftOut, group=GROUP, deps=FEEDS)
    states = dg.AssetSpec(
        "feed_states",
        deps=["row_accounts"],
        group_name=GROUP,
        kinds={"polars", "duckdb"},
        description="One row is one feed: to which day it is complete, whether that is stale.",
    )
    return [files, *landed, *records, fates, accounts, aside, left_out, states]


@dg.multi_asset(
    specs=_specs(),
    check_specs=[
        *(schema_check(name) for name in (*FEEDS, "row_accounts", "set_aside", "left_out")),
        dg.AssetCheckSpec(
            "ends_add_up",
            asset="row_accounts",
            blocking=True,
            description="All rows read, and rows added by splitting, end in one of the ends.",
        ),
        dg.AssetCheckSpec(
            "within_tolerance",
            asset="set_aside",
            description="No feed has more rows set aside than the settings allow.",
        ),
        dg.AssetCheckSpec(
            "fresh", asset="feed_states", description="No feed is stale as of the as-of date."
        ),
    ],
    required_resource_keys={SESSION},
)
def export_tables(context: dg.AssetExecutionContext) -> Iterator[dg.MaterializeResult]:
    """Reads what is new and settles what became of every row."""
    yield from settled_exports(context.resources.session)


def settled_exports(session: RefreshSession) -> Iterator[dg.MaterializeResult]:
    """The tables of all exports, one after the other."""
    with session.step("Exports: reading what is new"):
        files = land(session)
        news = dict(files.group_by("news").len().iter_rows())
        yield dg.MaterializeResult(
            asset_key="export_files", metadata={"dagster/row_count": files.height, **news}
        )
    accounted = {}
    for name in ("row_fates", TOUCHED):
        drop_table(session.con, name)
    told = read_frame(session.con, "parsed.set_aside", schema=PARSED_SET_ASIDE)
    parts = read_frame(session.con, "file_parts", schema=FILE_PARTS)
    for feed in FEEDS:
        with session.step(f"Records: {feed}"):
            result = settle(
                session.inputs, feed, read_frame(session.con, f"parsed.{feed}"), parts, told
            )
            accounted[feed] = result.summary()
            yield dg.MaterializeResult(
                asset_key=f"landed_{feed}",
                metadata={"dagster/row_count": int(result.accounts["rows_read"].sum())},
            )
            fates = result.fates.select(pl.lit(feed).alias("feed"), pl.all())
            append_frame(session.con, "row_fates", fates)
            writer = TableWriter(session, feed, FEED_TABLES[feed])
            for part in _slices(result):
                writer.add(part)
            note_touched(session, feed, writer.written())
            yield writer.done()
            del result, fates
    with session.step("Accounts of every row"):
        yield dg.MaterializeResult(asset_key="row_fates")
        yield from _accounts(session, (files, parts), told, accounted)


def _slices(accounted: Accounted) -> Iterator[pl.DataFrame]:
    """The records, a slice at a time; one empty slice where there are none."""
    return accounted.slices(SLICE_ROWS) if len(accounted.order) else iter([accounted.records])


def _accounts(
    session: RefreshSession,
    files: tuple[pl.DataFrame, pl.DataFrame],
    told: pl.DataFrame,
    accounted: dict[str, Accounted],
) -> Iterator[dg.MaterializeResult]:
    accounts = row_accounts(*files, accounted)
    aside = all_set_aside(told, accounted)
    states = feed_states(session.inputs, accounts, accounted)
    left_out = read_frame(session.con, "parsed.left_out", schema=PARSED_LEFT_OUT)
    wrong = unbalanced(accounts)["file"].to_list()
    result = write_table(session, "row_accounts", accounts, RowAccounts)
    yield result._replace(
        check_results=[
            *(result.check_results or []),
            dg.AssetCheckResult(
                passed=not wrong,
                asset_key="row_accounts",
                check_name="ends_add_up",
                metadata={"files": wrong or "none"},
            ),
        ]
    )
    beyond = states.filter("beyond_tolerance")["feed"].to_list()
    result = write_table(session, "set_aside", aside, SetAside)
    yield result._replace(
        check_results=[
            *(result.check_results or []),
            _warning("set_aside", "within_tolerance", beyond),
        ]
    )
    yield write_table(session, "left_out", all_left_out(left_out), LeftOut)
    write_frame(session.con, "feed_states", states)
    yield dg.MaterializeResult(
        asset_key="feed_states",
        metadata={"dagster/row_count": states.height},
        check_results=[_warning("feed_states", "fresh", states.filter("stale")["feed"].to_list())],
    )


def _warning(asset: str, check: str, feeds: list[str]) -> dg.AssetCheckResult:
    return dg.AssetCheckResult(
        passed=not feeds,
        asset_key=asset,
        check_name=check,
        severity=dg.AssetCheckSeverity.WARN,
        metadata={"feeds": ", ".join(feeds) or "none"},
    )
