"""One claim as it stood at the end of a past day, out of the archive, beside what stands now.

Belongs here: putting both together. Does not belong here: why they differ (`past_differences`),
or what plain `explain` tells (`explanation`).
"""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import duckdb

from pipelines.errors import NotFoundError
from pipelines.queries.explanation import Explanation, explain_claim
from pipelines.queries.past_differences import Rested, differences
from pipelines.queries.reproduction import not_by_then
from pipelines.store.archive.reading import (
    PAST,
    PAST_ROWS,
    files_of,
    find_past,
    open_archive,
    publication_by,
    publications,
)
from pipelines.store.database import query_frame
from pipelines.workspace.layout import Workspace
from schemas.archive import DECIDED
from schemas.columns import column_names, polars_schema
from schemas.feeds import FEED_TABLES

Row = dict[str, Any]
_OF_PUBLICATION = ("publication", "published_at", "clock", "as_of", "state", "tool_version", "tool")
_FILES = ("terms", "reference", "settings")


@dataclass(frozen=True)
class PastExplanation:
    """A claim then and now.

    `then` has what the contract names of its publication, the columns of `decisions`, `findings`
    and `evidence_rows`; `now` is what plain `explain` gives, None where the claim is gone.
    """

    claim: str
    decided: dt.date
    then: Row
    now: Explanation | None
    differs: list[Row]

    def to_dict(self) -> Row:
        """For JSON."""
        return {
            "claim": self.claim,
            "decided": self.decided,
            "then": self.then,
            "now": self.now.to_dict() if self.now else None,
            "differs": self.differs,
        }


def explain_decided(workspace: Workspace, claim: str, day: dt.date) -> PastExplanation:
    """A claim as the last publication by the end of a day had it.

    Raises:
        WorkspaceError: the archive is damaged.
        NotFoundError: nothing was published by then, or not this claim.
    """
    with open_archive(workspace) as con:
        publication = publication_by(con, day)
        if not find_past(con, publication["publication"], claim):
            raise NotFoundError(not_by_then(con, claim, day))
        then, rested = _then(con, publication)
        latest = publications(con).row(-1, named=True)
        now = _now(workspace, claim)
        now_rested = None
        if find_past(con, latest["publication"], claim):
            now_rested = _then(con, latest)[1]
    differing = differences(then, rested, now.to_dict() if now else None, now_rested)
    return PastExplanation(claim, day, then, now, differing)


def _now(workspace: Workspace, claim: str) -> Explanation | None:
    try:
        return explain_claim(workspace, claim)
    except NotFoundError:
        return None


def _then(con: duckdb.DuckDBPyConnection, publication: Row) -> tuple[Row, Rested]:
    """What is told of the claim in PAST, and what it rested on."""
    row = query_frame(con, f"select * from {PAST}").row(0, named=True)
    files = {
        kind: [{"path": file["path"], "sha256": file["sha256"]} for file in kept_files]
        for kind, kept_files in files_of(con, publication).items()
    }
    rows = _rows(con, publication)
    findings = row["findings"]
    cited = {(one["feed"], one["key"]): one for finding in findings for one in finding["evidence"]}
    evidence_rows = [
        rows[place]
        | {"file": one["file"], "line": one["line"]}
        | {"values": _as_amounts(place[0], rows[place]["values"])}
        for place, one in sorted(cited.items())
        if place in rows
    ]
    digests = {file["file"]: file["sha256"] for file in publication["exports_files"]}
    for evidence_row in evidence_rows:
        evidence_row["file_sha256"] = digests.get(evidence_row["file"], evidence_row["file_sha256"])
    then = {
        **{name: publication[name] for name in _OF_PUBLICATION},
        **{kind: files[kind] for kind in _FILES},
        **{name: row.get(name) for name in DECIDED},
        "fingerprint": row["fingerprint"],
        "findings": findings,
        "evidence_rows": evidence_rows,
    }
    return then, Rested(publication, files, rows, row)


def _as_amounts(feed: str, values: dict[str, str]) -> dict[str, str]:
    """The values with money to the cent, and other decimals (labor hours) without idle zeros.

    An amount that was written finer stays as it is.
    """
    table = FEED_TABLES[feed]
    money = set(column_names(table, kind="money"))
    decimals = {name for name, kind in polars_schema(table).items() if kind.is_decimal()}
    exact = {name: Decimal(text) for name, text in values.items() if name in decimals}
    cents = {name: round(exact[name], 2) for name in exact if name in money}
    return (
        values
        | {name: f"{exact[name].normalize():f}" for name in exact if name not in money}
        | {name: f"{amount}" for name, amount in cents.items() if amount == exact[name]}
    )


def _rows(con: duckdb.DuckDBPyConnection, publication: Row) -> dict[tuple[str, str], Row]:
    """The records that the claim rested on, by feed and key."""
    columns = "feed, key, file, line, file_sha256, row_sha256, arrived_on, values"
    past_rows = query_frame(con, f"select {columns} from {PAST_ROWS} order by feed, key")
    return {
        (row["feed"], row["key"]): row | {"values": json.loads(row["values"])}
        for row in past_rows.iter_rows(named=True)
    }
