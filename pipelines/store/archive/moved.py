"""Which claims are not as they were published last, so that the archive has to look at them.

Belongs here: telling it by hashes, in SQL, without listing the findings of all claims. Does not
belong here: what is archived of a claim that moved (`tables`).
"""

from __future__ import annotations

import duckdb
import polars as pl

from pipelines.store.considered import CONSIDERED
from pipelines.store.contents import columns_of, parts_to_hash
from pipelines.store.database import LAST, has_table, identifier, query_frame

# Temporary: claim, publication: of the last row of the archive.
AS_PUBLISHED = "claims_as_published"
_TABLES = ("decisions", "findings")


def find_as_published(con: duckdb.DuckDBPyConnection, publication: int) -> None:
    """Puts the temporary table AS_PUBLISHED in place: the claims that are decided, with the same
    findings, as in the published store, and were archived before this publication."""
    is_kept = has_table(con, f"{LAST}.decision_archive")
    if not is_kept or any(columns_of(con, t) != columns_of(con, f"{LAST}.{t}") for t in _TABLES):
        con.execute(f"create or replace temp table {AS_PUBLISHED} (claim text, publication bigint)")
        return
    same = " ".join(
        f"semi join ({_by_claim(con, table)} intersect {_by_claim(con, f'{LAST}.{table}')}) "
        "using (claim)"
        for table in _TABLES
    )
    con.execute(
        f"create or replace temp table {AS_PUBLISHED} as "
        f"select claim, max(publication) as publication from decision_archive {same} "
        f"where publication < {publication} group by claim"
    )


def moved_claims(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """claim: those of CONSIDERED, in their order, that are not as published, or rest on other
    records than their last row in the archive tells; one of a claim withdrawn tells of none."""
    return query_frame(
        con,
        f"select claim from {CONSIDERED} anti join (select n.claim from {CONSIDERED} n "
        f"join {AS_PUBLISHED} p using (claim) join decision_archive b using (claim, publication) "
        "where n.considered = b.considered) using (claim) order by claim",
    )


def _by_claim(con: duckdb.DuckDBPyConnection, table: str) -> str:
    """SQL: the claims of a table, each with what stands for its rows."""
    hashed = ", ".join(["content", *parts_to_hash(columns_of(con, table))])
    return (
        "select claim, bit_xor(hashed) as bits, sum(hashed) as total, count(*) as rows "
        f"from (select claim, hash({hashed}) as hashed from {identifier(table)} as content) "
        "group by claim"
    )
