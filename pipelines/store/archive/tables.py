"""The four tables of the archive in the working copy: what this publication adds to the last ones.

Belongs here: the SQL that finds what changed since the published store. Does not belong here: which
records a claim rests on (`pipelines.store.considered`), or the files (`files`).

Everything is told from the published store, attached as LAST, and from the tables of the working
copy: so it comes out the same however often a run that did not come to its end has done it before.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence

import duckdb
import polars as pl

from pipelines.store.archive.moved import AS_PUBLISHED, find_as_published, moved_claims
from pipelines.store.archive.rows import add_rows
from pipelines.store.considered import CONSIDERED, drop_considered, find_considered
from pipelines.store.database import (
    LAST,
    append_frame,
    drop_table,
    has_table,
    identifier,
    one_row,
    query_frame,
    write_frame,
)
from pipelines.store.frames_for_sql import read_once, registered
from pipelines.workspace import clock
from schemas.archive import (
    ARCHIVE_TABLES,
    DECIDED,
    FINDING,
    PUBLICATIONS,
)

LISTED = "listed_publications"  # of a recovered store: all that the index tells of
# Claims at a time: of which the records are found, and whose findings are listed in memory.
BATCH, LISTED_AT_ONCE = 50_000, 10_000


def next_publication(con: duckdb.DuckDBPyConnection) -> int:
    """The number of the publication that this run would be, from 1; none is used twice."""
    names = (f"{LAST}.publications", f"{LAST}.{LISTED}")
    known = [name for name in names if has_table(con, name)]
    rows = [one_row(con, f"select max(publication) from {identifier(name)}") for name in known]
    return 1 + max((row[0] for row in rows if row and row[0] is not None), default=0)


def begin(con: duckdb.DuckDBPyConnection) -> None:
    """The four tables as the published store has them, whatever a run before has left of them."""
    number = next_publication(con)
    own = one_row(con, "select max(publication) from publications") if _whole(con) else None
    if own is not None and own[0] == number - 1:
        return  # the copy brought them along, and no run has added to them yet
    for name, schema in ARCHIVE_TABLES.items():
        drop_table(con, name)
        write_frame(con, name, pl.DataFrame(schema=schema))
        if has_table(con, f"{LAST}.{name}"):
            con.execute(f"insert into {name} by name from {LAST}.{name}")


def _whole(con: duckdb.DuckDBPyConnection) -> bool:
    """Whether all four are there, in today's columns."""
    for name, schema in ARCHIVE_TABLES.items():
        if not has_table(con, name):
            return False
        columns = con.execute(f"select * from {name} limit 0").description
        if [column[0] for column in columns] != schema.names():
            return False
    return True


# Decisions


def archive_decisions(
    con: duckdb.DuckDBPyConnection, publication: int, as_of: dt.date
) -> Iterable[pl.DataFrame]:
    """Adds a row for each claim of which anything is not as in its row before.

    Leaves `decision_archive` without fingerprints for these, and yields, a batch at a time, the
    claims (claim, serial, fingerprint: where it stays) for `put_fingerprints`.
    """
    claims = query_frame(con, "select claim, serial from decisions order by claim")
    find_as_published(con, publication)
    for start in range(0, claims.height, BATCH):
        find_considered(con, claims.slice(start, BATCH), as_of)
        add_rows(con)
        added = [
            _add_decisions(con, some, publication)
            for some in moved_claims(con).iter_slices(LISTED_AT_ONCE)
        ]
        drop_considered(con)
        if added:
            yield pl.concat(added)
    drop_table(con, AS_PUBLISHED)
    _add_withdrawn(con, publication)


def _add_decisions(
    con: duckdb.DuckDBPyConnection, batch: pl.DataFrame, publication: int
) -> pl.DataFrame:
    columns = [name for name in DECIDED if name != "claim"]
    with registered(con, batch.select("claim")) as wanted:
        findings = query_frame(con, f"select * from findings semi join {wanted} using (claim)")
        con.execute(
            "create or replace temp table deciding_before as select a.* from decision_archive a "
            "join (select claim, max(publication) as publication from decision_archive "
            f"semi join {wanted} using (claim) where publication < {publication} group by claim) "
            "using (claim, publication)"
        )
    with read_once(con, _listed_by_claim(findings)) as of_claims:
        con.execute(
            "create or replace temp table deciding_now as "
            f"select d.claim, {_listed(columns, 'd')}, t.findings, c.considered from decisions d "
            f"join {of_claims} t using (claim) join {CONSIDERED} c using (claim)"
        )
    same = " and ".join(
        f"b.{identifier(name)} is not distinct from n.{identifier(name)}"
        for name in (*columns, "findings", "considered")
    )
    con.execute(
        f"delete from deciding_now n using deciding_before b where n.claim = b.claim and {same}"
    )
    # Of the few that had a row before: what a case asks is worked out for every row.
    con.execute(
        "create or replace temp table fingerprints_kept as select n.claim, b.fingerprint "
        "from deciding_now n join deciding_before b using (claim) "
        "where n.considered = b.considered and not b.withdrawn "
        "and list_transform(n.findings, lambda f: f.outcome || f.reason) "
        "= list_transform(b.findings, lambda f: f.outcome || f.reason)"
    )
    con.execute(
        f"insert into decision_archive by name select n.*, {publication} as publication, "
        "k.fingerprint, false as withdrawn "
        "from deciding_now n left join fingerprints_kept k using (claim) order by claim"
    )
    added = query_frame(
        con,
        "select claim, serial, fingerprint from decision_archive "
        "semi join deciding_now using (claim) where publication = ? order by claim",
        [publication],
    )
    drop_table(con, "deciding_now")
    drop_table(con, "deciding_before")
    drop_table(con, "fingerprints_kept")
    return added


def _listed_by_claim(findings: pl.DataFrame) -> pl.DataFrame:
    """claim and findings: those of a claim as one list, by position.

    DuckDB lists and sorts such structs in twice the time.
    """
    columns = [field.name for field in FINDING.fields]
    ordered = findings.sort("claim", "position")
    return ordered.group_by("claim", maintain_order=True).agg(findings=pl.struct(columns))


def put_fingerprints(
    con: duckdb.DuckDBPyConnection, publication: int, prints: pl.DataFrame
) -> None:
    """Fills in the fingerprints (claim, fingerprint) of the rows that this publication adds."""
    if prints.is_empty():
        return
    with registered(con, prints) as prints_view:
        con.execute(
            f"update decision_archive a set fingerprint = t.fingerprint from {prints_view} t "
            f"where a.claim = t.claim and a.publication = {publication} "
            "and a.fingerprint is null and not a.withdrawn"
        )


def _add_withdrawn(con: duckdb.DuckDBPyConnection, publication: int) -> None:
    """A row for each claim that is no longer decided."""
    con.execute(
        "insert into decision_archive by name select l.claim, "
        f"{publication} as publication, true as withdrawn from "
        "(select claim, max(publication) as publication, arg_max(withdrawn, publication) as gone "
        "from decision_archive group by claim) l anti join decisions d using (claim) "
        "where not l.gone order by l.claim"
    )


# The publication itself


def exports_files(con: duckdb.DuckDBPyConnection, today: dt.date) -> pl.DataFrame:
    """The exports of this publication, and those that left with it, each with its days.

    Returns:
        file, sha256, arrived_on, left_on. What came back has the day on which it first came.
    """
    now = query_frame(con, "select file, sha256 from export_files order by file")
    known = query_frame(
        con,
        "select e.file, e.sha256, min(e.arrived_on) as arrived_on, "
        "max_by(e.left_on is null, publication) and max(publication) = "
        "(select max(publication) from publications) as stood from "
        "(select publication, unnest(exports_files) as e from publications) group by all",
    )
    standing = now.join(known, on=["file", "sha256"], how="left").select(
        "file",
        "sha256",
        pl.col("arrived_on").fill_null(pl.lit(today)),
        left_on=pl.lit(None, pl.Date),
    )
    left = (
        known.filter("stood")
        .join(now, on=["file", "sha256"], how="anti")
        .select("file", "sha256", "arrived_on", left_on=pl.lit(today))
    )
    return pl.concat([standing, left]).sort("file", "sha256")


def add_publication(con: duckdb.DuckDBPyConnection, row: dict[str, object]) -> None:
    """Adds the row of this publication; `claims` and `archived` are counted here."""
    counts = one_row(
        con,
        "select (select count(*) from decisions), "
        "(select count(*) from decision_archive where publication = ?)",
        [row["publication"]],
    )
    claims, archived = counts or (0, 0)
    frame = pl.DataFrame([row | {"claims": claims, "archived": archived}], schema=PUBLICATIONS)
    append_frame(con, "publications", frame)


def stamp(
    con: duckdb.DuckDBPyConnection, publication: int, run: str, published_at: dt.datetime
) -> None:
    """Puts down by which run and when the publication is: its tables may be of a run before."""
    con.execute(
        "update publications set run = ?, published_at = ?, clock = ? where publication = ?",
        [run, published_at, clock.clock(), publication],
    )


def _listed(names: Sequence[str], alias: str) -> str:
    return ", ".join(f"{alias}.{identifier(name)}" for name in names)
