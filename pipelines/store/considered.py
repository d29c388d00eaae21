"""Every record that the rules looked at for a claim, cited or not: enough to decide it again.

Belongs here: which records those are, as hashes by claim, worked out for many claims at once. Does
not belong here: what the rules make of them (`pipelines.coverage`), or keeping them (`archive`).

They are what `pipelines.store.evidence.evidence_around` reads for the claim's serial, so that the
two must move together: the records of the unit, of the other units at its site, of those that it
took over from and that took over from it, to the ends of the chains, and the site's own tests and
purchases; of the rulings those on the claim. Where the serial is not on the register, also the
units whose serials are one edit away, from which a suggestion is made.
"""

from __future__ import annotations

import datetime as dt

import duckdb
import polars as pl

from pipelines.records.suggestions import serials_one_edit_away
from pipelines.store.database import has_table, identifier, query_frame
from pipelines.store.frames_for_sql import registered
from pipelines.store.row_hashes import rows_as_archived
from schemas.codes import FEEDS, OPTIONAL_FEEDS
from schemas.feeds import record_schema

DECIDING = tuple(feed for feed in FEEDS if feed not in OPTIONAL_FEEDS)
# Temporary: the columns of `rows_as_archived`, and serial, site and claim.
ROWS = "considered_rows"
CONSIDERED = "considered"  # temporary: claim, considered


def find_considered(con: duckdb.DuckDBPyConnection, claims: pl.DataFrame, as_of: dt.date) -> None:
    """Puts the temporary tables ROWS and CONSIDERED in place, for claims (claim, serial).

    CONSIDERED has one row a claim: the sorted hashes of all records that bear on it.
    """
    with registered(con, claims.select("claim", "serial")) as claims_view:
        con.execute(f"create or replace temp table asked_claims as select * from {claims_view}")
    con.execute(
        "create or replace temp table asked_serials as "
        "select distinct a.serial, u.site from asked_claims a left join units u using (serial)"
    )
    _find_members(con)
    _find_near_units(con, as_of)
    _hash_rows(con)
    con.execute(
        f"create or replace temp table {CONSIDERED} as with found as ("
        "select a.claim, r.row_sha256 from asked_claims a "
        f"join {ROWS} r on r.claim = a.claim and r.feed = 'rulings' "
        "union all select a.claim, r.row_sha256 from asked_claims a "
        f"join near_units n using (serial) join {ROWS} r "
        "on r.serial = n.known and r.feed = 'units'), "
        "of_claim as (select claim, list(row_sha256) as rows from found group by claim), "
        "of_unit as (select serial, list(row_sha256) as rows from "
        "(select m.asked as serial, r.row_sha256 from asked_members m "
        f"join {ROWS} r on r.serial = m.member "
        f"union select a.serial, r.row_sha256 from asked_serials a join {ROWS} r on "
        "r.site = a.site and r.feed <> 'units') group by serial) "
        "select a.claim, list_sort(list_distinct(list_concat(coalesce(u.rows, []), "
        "coalesce(c.rows, [])))) as considered from asked_claims a "
        "left join of_unit u using (serial) left join of_claim c using (claim)"
    )


def drop_considered(con: duckdb.DuckDBPyConnection) -> None:
    """Takes the temporary tables away."""
    names = ("asked_claims", "asked_serials", "asked_members", "near_units", ROWS, CONSIDERED)
    for name in names:
        con.execute(f"drop table if exists {name}")


def _find_members(con: duckdb.DuckDBPyConnection) -> None:
    """asked_members (asked, member): every unit whose records bear on an asked serial."""
    con.execute(
        "create or replace temp table linked_units as "
        "select serial as here, replaces as there from units where replaces is not null "
        "union select replaces, serial from units where replaces is not null"
    )
    con.execute(
        "create or replace temp table asked_members as with recursive members(asked, member) as ("
        "(select serial, serial from asked_serials where serial is not null "
        "union select a.serial, u.serial from asked_serials a join units u using (site)) "
        "union select m.asked, l.there from members m join linked_units l on l.here = m.member) "
        "select asked, member from members"
    )
    con.execute("drop table linked_units")


def _find_near_units(con: duckdb.DuckDBPyConnection, as_of: dt.date) -> None:
    """near_units (serial, known): the units one edit away from a serial that is not seen."""
    unknown = query_frame(
        con,
        "select distinct serial from asked_serials where serial is not null "
        "and serial not in (select serial from units where shipped_on <= ?)",
        [as_of],
    )
    register = query_frame(con, "select serial from units")
    pairs = serials_one_edit_away(unknown["serial"], register["serial"])
    with registered(con, pairs) as near:
        con.execute(f"create or replace temp table near_units as select serial, known from {near}")


def _hash_rows(con: duckdb.DuckDBPyConnection) -> None:
    """ROWS: the hashes of all records that bear on any of the claims."""
    parts = []
    for feed in DECIDING:
        if not has_table(con, feed):
            continue
        schema, tests = record_schema(feed), []
        if "serial" in schema:
            tests.append("serial in (select member from asked_members)")
        if "site" in schema and feed != "units":
            tests.append("site in (select site from asked_serials)")
        if feed == "units":
            tests.append("serial in (select known from near_units)")
        if feed == "rulings":
            tests.append("claim in (select claim from asked_claims)")
        names = ", ".join(
            name if name in schema else f"null::varchar as {name}"
            for name in ("serial", "site", "claim")
        )
        of_claims = f"(select * from {identifier(feed)} where {' or '.join(tests)})"
        parts.append(rows_as_archived(feed, of_claims, names))
    con.execute(f"create or replace temp table {ROWS} as {' union all '.join(parts)}")
