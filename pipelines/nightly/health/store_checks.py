"""The doctor's look into the store: its version, its age, and what its last refresh said.

Belongs here: findings from the store and the pages' manifest. Does not belong here: findings from
the files around them (`workspace_checks`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from shlex import quote

import duckdb
import polars as pl

from pipelines.errors import LimeledgerError, WorkspaceError
from pipelines.exports.delivery import find_exports
from pipelines.nightly.health.finding import Finding
from pipelines.nightly.health.state_checks import state_findings
from pipelines.records.join_sentences import sentences_below
from pipelines.records.left_out import idle_entries
from pipelines.records.problems import whole_files_in_words
from pipelines.store.archive.recovery import loss, was_published
from pipelines.store.database import connect, has_table, read_frame
from pipelines.store.inputs import sound_mappings
from pipelines.store.published_state import (
    PublishedState,
    state_of,
)
from pipelines.store.working_copy import is_newer
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import Settings
from schemas.codes import FEEDS
from schemas.versions import SCHEMA_VERSION

OLD_HOURS = 36  # a night that was missed, and the morning after it
CLOCK_SLACK = dt.timedelta(minutes=5)


def store_findings(
    workspace: Workspace, settings: Settings | None, now: dt.datetime
) -> Iterator[Finding]:
    """What is wrong with the store, or what its last refresh left for a person."""
    if not workspace.database.exists():
        if was_published(workspace):
            sentence = f"{workspace.database} is missing, and was there."
            yield Finding("fault", "store", sentence, loss(workspace).advice(workspace))
            return
        yield Finding(
            "warning",
            "store",
            "Nothing has been decided here yet.",
            f"Run `limeledger refresh {workspace.root}`.",
        )
        return
    try:
        con = connect(workspace.database, read_only=True)
    except (LimeledgerError, duckdb.Error) as error:
        yield Finding(
            "fault", "store", " ".join(str(error).split()), loss(workspace).advice(workspace)
        )
        return
    try:
        yield from _version(con)
        state = state_of(con)
        if state is not None:
            yield from _age(state, now)
        yield from state_findings(workspace, con, state)
        yield from _feeds(con, settings, now)
        yield from _joins(con)
        yield from _idle_entries(workspace, con)
        yield from _exports(workspace, con)
    except duckdb.Error as error:
        yield Finding(
            "fault",
            "store",
            f"{workspace.database} cannot be read to its end ({' '.join(str(error).split())}).",
            f"{loss(workspace).advice(workspace)} Move it away and refresh.",
        )
    finally:
        con.close()


def _version(con: duckdb.DuckDBPyConnection) -> Iterator[Finding]:
    state = state_of(con)
    version = state.schema_version if state else None
    if version == SCHEMA_VERSION:
        return
    newer = version is not None and is_newer(version)
    yield Finding(
        "fault" if newer else "note",
        "store",
        f"The store is of version {version or 'none'}, and this tool writes version "
        f"{SCHEMA_VERSION}.",
        "Use the newer tool that made it."
        if newer
        else "Refresh: it is made anew from the exports; decisions' history and rulings stay.",
    )


def _age(state: PublishedState, now: dt.datetime) -> Iterator[Finding]:
    at = state.published_at.replace(tzinfo=dt.UTC)
    hours = (now - at).total_seconds() / 3600
    if hours > OLD_HOURS:
        yield Finding(
            "warning",
            "last refresh",
            f"The last good refresh was at {at:%Y-%m-%d %H:%M} UTC, {hours / 24:.0f} days ago.",
            "Look whether the nightly refresh still runs: `crontab -l`, `systemctl list-timers`, "
            "or Dagster's page.",
        )
    elif at > now + CLOCK_SLACK:
        yield Finding(
            "warning",
            "clock",
            f"The last refresh was at {at:%Y-%m-%d %H:%M} UTC, which is still to come.",
            "Set this machine's clock.",
        )


def _feeds(
    con: duckdb.DuckDBPyConnection, settings: Settings | None, now: dt.datetime
) -> Iterator[Finding]:
    if settings is None or not has_table(con, "feed_states"):
        return
    today = now.astimezone(settings.zone).date()
    oldest = today - dt.timedelta(days=settings.stale_after_days)
    states = read_frame(con, "feed_states").sort("feed")
    stale = (pl.col("through_date") < oldest).fill_null(True) & (pl.col("rows_read") > 0)
    for row in states.filter(stale).iter_rows(named=True):
        yield Finding(
            "warning",
            "feeds",
            f"The feed {row['feed']} is stale: complete to {row['through_date'] or 'no day'}.",
            "Ask its source for a newer export.",
        )
    for row in states.filter(pl.col("set_aside_share") > settings.set_aside_tolerance).iter_rows(
        named=True
    ):
        yield Finding(
            "warning",
            "feeds",
            f"{row['set_aside']:,} of {row['rows_read']:,} rows of {row['feed']} are set aside, "
            "more than the settings allow.",
            "The Data page and `limeledger check` say what to mend at the source.",
        )


def _joins(con: duckdb.DuckDBPyConnection) -> Iterator[Finding]:
    names = ("joins", "join_misses", "row_accounts")
    if all(has_table(con, name) for name in names):
        for sentence in sentences_below(*(read_frame(con, name) for name in names)):
            yield Finding("warning", "joins", sentence)


def _idle_entries(workspace: Workspace, con: duckdb.DuckDBPyConnection) -> Iterator[Finding]:
    """Entries of mappings that left out no row, or every row, in the last refresh."""
    if not (has_table(con, "parsed_left_out") and has_table(con, "file_parts")):
        return
    place = ["mapping", "file", "sheet"]
    parts = read_frame(con, "file_parts")
    if "joined_as" not in parts.columns:  # made by an older tool; the next refresh makes it anew
        return
    # Of a file that is set aside whole nobody looked at a row.
    parts = parts.filter(~pl.col("is_whole"))
    parts = parts.select(*place, "joined_as", "rows_read", "left_out")
    counted = (
        read_frame(con, "parsed_left_out", columns=[*place, "entry"])
        .group_by(*place, "entry")
        .agg(pl.len())
        .join(parts, on=place)
    )
    for mapping in sound_mappings(workspace).all:
        for join in ("", *(one.name for one in mapping.joins)):
            served = parts.filter(mapping=mapping.file, joined_as=join)
            entries = {n: entry for n, (of, entry) in enumerate(mapping.entries) if of == join}
            if served.is_empty() or not entries:
                continue
            left = {}
            for number, entry in entries.items():
                rows = counted.filter(mapping=mapping.file, entry=number)
                left[number] = int(rows["left_out" if entry.is_of_sheets else "len"].sum())
            total = int(served["rows_read"].sum())
            for sentence in idle_entries(mapping.name, entries, left, total):
                yield Finding("warning", "mappings", sentence)


def _exports(workspace: Workspace, con: duckdb.DuckDBPyConnection) -> Iterator[Finding]:
    """Exports that the last refresh set aside whole, and those that it has not seen.

    Sizes are compared, not hashes, so that a look does not read gigabytes.
    """
    if not has_table(con, "export_files"):
        return
    files = read_frame(con, "export_files", columns=["file", "size_bytes", "is_whole"])
    columns = ["file", "rule", "reason"]
    aside = (
        read_frame(con, "set_aside", columns=columns)
        if has_table(con, "set_aside")
        else pl.DataFrame(schema=dict.fromkeys(columns, pl.String()))
    )
    whole = files.filter(pl.col("is_whole"))["file"].sort().to_list()
    for name, sentence in whole_files_in_words(whole, aside).items():
        yield Finding(
            "warning",
            "exports",
            sentence,
            f"Mend it, or draft a mapping: `limeledger map {quote(str(workspace.exports / name))} "
            f"{quote(str(workspace.root))}`.",
        )
    known = dict(files.select("file", "size_bytes").iter_rows())
    try:
        names = sound_mappings(workspace).names
        there = {file.path: file.size for file in find_exports(workspace.root, FEEDS, names)}
    except WorkspaceError:
        return
    new = [name for name, size in there.items() if known.get(name) != size]
    gone = [name for name in known if name not in there and not name.startswith("..")]
    if new or gone:
        said = [f"{len(new)} new or changed"] * bool(new) + [f"{len(gone)} gone"] * bool(gone)
        yield Finding(
            "note",
            "exports",
            f"Since the last refresh: {' and '.join(said)} ({', '.join([*new, *gone][:3])}).",
            f"Run `limeledger refresh {workspace.root}`.",
        )
