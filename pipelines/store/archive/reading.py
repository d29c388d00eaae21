"""The archive as it was published, to read from: no store, no exports, nothing that lies there now.

Belongs here: opening it once its chain is found whole, which publication held on a day, and what
it rested on. Does not belong here: deciding again (`pipelines.queries`).
"""

from __future__ import annotations

import datetime as dt
import json
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from zoneinfo import ZoneInfo

import duckdb
import polars as pl

from pipelines.errors import NotFoundError, WorkspaceError
from pipelines.store.archive.chain import INDEX, Chain, archive_folder, faults_of, read_chain
from pipelines.store.archive.files import HISTORY, publications_named
from pipelines.store.archive.recovery import was_published
from pipelines.store.archive.seals import store_seals
from pipelines.store.archive.views import archive_views
from pipelines.store.database import query_frame
from pipelines.store.row_hashes import read_values
from pipelines.workspace.layout import Workspace
from schemas.archive import KINDS
from schemas.columns import polars_schema
from schemas.decisions import DecisionHistory
from schemas.feeds import record_schema

PAST, PAST_ROWS = "past_decisions", "past_rows"  # temporary
Row = dict[str, Any]


@contextmanager
def open_archive(workspace: Workspace) -> Iterator[duckdb.DuckDBPyConnection]:
    """The tables of the archive as views over its files, and `decision_history`.

    Raises:
        WorkspaceError: it is damaged, or was written by a newer tool.
        NotFoundError: nothing is in it yet.
    """
    folder = archive_folder(workspace)
    chain = _known_chain(workspace)
    if faults := faults_of(folder, chain):
        numbers = [number for fault in faults for number in fault.publications]
        raise WorkspaceError(
            f"The archive is damaged, at {publications_named(numbers)}; restore {folder} from a "
            "backup.",
            *(fault.sentence for fault in faults),
        )
    if not chain.lines and was_published(workspace):
        raise WorkspaceError(
            f"The archive is damaged: {folder / INDEX} is missing; restore {folder} from a backup."
        )
    if not chain.lines:
        raise NotFoundError(
            f"{workspace.root}: nothing has been archived here yet; "
            f"`limeledger refresh {workspace.root}` does it with each publication."
        )
    with archive_views(folder, chain) as con:
        yield con


def _known_chain(workspace: Workspace) -> Chain:
    """The index, and what the published store knows of it that it lacks at its end.

    So nobody is told of an earlier publication instead of one whose lines a kill kept from the
    index, or somebody took off it.
    """
    chain, sealed = read_chain(archive_folder(workspace)), store_seals(workspace)
    known = [line.text for line in chain.lines]
    if len(known) < len(sealed) and known == [line.text for line in sealed[: len(known)]]:
        return Chain(tuple(sealed))
    return chain


# Publications


def publications(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """Every publication, by number."""
    return query_frame(con, "select * from publications order by publication")


def zone_of(con: duckdb.DuckDBPyConnection) -> ZoneInfo:
    """The workspace's time zone, by the settings of the last publication."""
    last = publications(con).row(-1, named=True)
    for file in files_of(con, last)["settings"]:
        if file["path"].casefold().endswith(".toml") and "/" not in file["path"]:
            settings = tomllib.loads(bytes(file["content"]).decode("utf-8-sig"))
            return ZoneInfo(settings["timezone"])
    raise WorkspaceError("The archive holds no settings of its last publication.")


def with_days(published: pl.DataFrame, zone: ZoneInfo) -> pl.DataFrame:
    """Publications with `day`: the day of each in the workspace's time zone."""
    at = pl.col("published_at").dt.replace_time_zone("UTC").dt.convert_time_zone(str(zone))
    return published.with_columns(day=at.dt.date())


def publication_by(con: duckdb.DuckDBPyConnection, day: dt.date) -> Row:
    """The last publication by the end of a day in the workspace's time zone.

    Raises:
        NotFoundError: none was by then.
    """
    dated = with_days(publications(con), zone_of(con))
    by_then = dated.filter(pl.col("day") <= day)
    if by_then.is_empty():
        first = dated.sort("day").row(0, named=True)["day"]
        raise NotFoundError(f"Nothing was published by {day}; the first publication is of {first}.")
    return by_then.row(-1, named=True)


def files_of(con: duckdb.DuckDBPyConnection, publication: Row) -> dict[str, list[Row]]:
    """The files that a publication rested on, by kind of input: path, sha256, content.

    Raises:
        WorkspaceError: the archive lacks one.
    """
    by_kind: dict[str, list[Row]] = {}
    for kind in KINDS:
        listing = _content(con, publication[kind], kind)
        by_kind[kind] = [
            {"path": path, "sha256": sha256, "content": _content(con, sha256, path)}
            for path, sha256 in json.loads(listing)
        ]
    return by_kind


def _content(con: duckdb.DuckDBPyConnection, sha256: str, what: str) -> bytes:
    rows = con.execute(
        "select content from archived_files where sha256 = ? limit 1", [sha256]
    ).fetchall()
    if not rows:
        raise WorkspaceError(f"The archive is damaged: it lacks {what} ({sha256}).")
    return bytes(rows[0][0])


# Decisions and what they rested on


def find_past(con: duckdb.DuckDBPyConnection, publication: int, claim: str | None = None) -> int:
    """Puts PAST in place: the claims as a publication left them; returns how many.

    Withdrawn ones are left out. PAST_ROWS are the records that they rested on.
    """
    one = "and claim = ?" if claim is not None else ""
    con.execute(
        f"create or replace temp table {PAST} as select a.* from decision_archive a join "
        "(select claim, max(publication) as publication from decision_archive "
        f"where publication <= {publication} {one} group by claim) using (claim, publication) "
        "where not a.withdrawn order by a.claim",
        [claim] if claim is not None else [],
    )
    con.execute(
        f"create or replace temp table {PAST_ROWS} as select distinct on (row_sha256) * exclude "
        "(publication) from row_versions semi join "
        f"(select distinct unnest(considered) as row_sha256 from {PAST}) using (row_sha256) "
        f"where publication <= {publication} order by row_sha256, publication desc"
    )
    row = con.execute(
        f"select (select count(*) from {PAST}), (select count(*) from {PAST_ROWS}), "
        f"(select count(distinct row_sha256) from (select unnest(considered) as row_sha256 "
        f"from {PAST}))"
    ).fetchall()[0]
    if row[1] != row[2]:
        raise WorkspaceError(
            f"The archive is damaged: it lacks {row[2] - row[1]} of the records that publication "
            f"{publication} rested on."
        )
    return int(row[0])


def first_day_of(con: duckdb.DuckDBPyConnection, claim: str) -> dt.date | None:
    """The first day by which a claim was published; None where it never was."""
    dated = with_days(publications(con), zone_of(con))
    rows = con.execute(
        "select min(publication) from decision_archive where claim = ? and not withdrawn", [claim]
    ).fetchall()
    if rows[0][0] is None:
        return None
    day: dt.date | None = dated.filter(pl.col("publication") == rows[0][0])["day"][0]
    return day


def past_records(con: duckdb.DuckDBPyConnection, feed: str) -> pl.DataFrame:
    """The records of a feed among PAST_ROWS, by `record_schema`.

    Each stands where it was cited; one that was not, where it came first.
    """
    places = (
        "select distinct c.feed, c.key, c.file, c.line from "
        f"(select unnest(f.evidence) as c from (select unnest(findings) as f from {PAST}))"
    )
    names = ", ".join(f'"{name}"' for name in record_schema(feed))
    return query_frame(
        con,
        f"select {names} from (select {read_values(feed)}, coalesce(p.file, r.file) as "
        "source_file, coalesce(p.line, r.line) as source_line, '' as source_sheet, r.row_sha256 "
        f"from {PAST_ROWS} r left join ({places}) p on p.feed = r.feed and p.key = r.key "
        f"where r.feed = '{feed}') order by source_file, source_line, row_sha256",
    ).cast(record_schema(feed))


def history_before(con: duckdb.DuckDBPyConnection, publication: int) -> pl.DataFrame:
    """decision_history as it was when a publication's run began, of the claims in PAST."""
    schema = polars_schema(DecisionHistory)
    history = query_frame(
        con,
        f"select * from {HISTORY} semi join {PAST} using (claim) "
        "where coalesce(publication, 0) < ? order by claim, decided_at",
        [publication],
    )
    lacking = [
        pl.lit(None, kind).alias(n) for n, kind in schema.items() if n not in history.columns
    ]
    return history.with_columns(lacking).select(schema.names()).cast(schema)
