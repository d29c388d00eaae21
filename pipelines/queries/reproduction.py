"""Decides again what was published, from the archive alone, and compares.

Belongs here: deciding with what the archive holds, and what differs. Does not belong here: reading
the archive (`pipelines.store.archive.reading`), any rule, or how it is told.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict, dataclass
from typing import Any

import duckdb
import polars as pl

from pipelines.coverage import Decided, decide
from pipelines.errors import NotFoundError
from pipelines.queries.scratch import days_in, evidence_of, laid_out
from pipelines.store.archive.reading import (
    PAST,
    files_of,
    find_past,
    first_day_of,
    history_before,
    open_archive,
    past_records,
    publication_by,
)
from pipelines.store.considered import DECIDING
from pipelines.store.database import query_frame
from pipelines.store.states import tool_version
from pipelines.workspace.layout import Workspace
from pipelines.workspace.tool import source_hash
from schemas.archive import DECIDED

Row = dict[str, Any]
_COMPARED = ("outcome", "evidence", "document")


@dataclass(frozen=True)
class Difference:
    """One thing that came out otherwise: of which claim, what, then and now."""

    claim: str
    what: str
    then: Any
    now: Any


@dataclass(frozen=True)
class Reproduction:
    """What came of deciding again."""

    decided: dt.date
    publication: int
    as_of: dt.date
    tool_then: str
    tool_now: str
    claims: int
    same: int
    differs: list[Difference]

    @property
    def outcome(self) -> str:
        """same or differs."""
        return "differs" if self.differs else "same"

    def to_dict(self) -> Row:
        """For JSON."""
        facts = asdict(self)
        differs = facts.pop("differs")
        return {**facts, "outcome": self.outcome, "differs": differs}


def reproduce(workspace: Workspace, day: dt.date, claim: str | None = None) -> Reproduction:
    """Decides one claim, or all, as the last publication by the end of a day did.

    Raises:
        WorkspaceError: the archive is damaged.
        NotFoundError: nothing was published by then, or not this claim.
    """
    with open_archive(workspace) as con:
        publication = publication_by(con, day)
        number = publication["publication"]
        count = find_past(con, number, claim)
        if claim is not None and not count:
            raise NotFoundError(not_by_then(con, claim, day))
        then = query_frame(con, f"select * from {PAST}")
        now = decided_again(con, publication, then.select("claim"))
    same_tool = publication["tool"] == source_hash()
    differs = compare(then, now, with_reasons=same_tool)
    return Reproduction(
        day,
        number,
        publication["as_of"],
        f"{publication['tool_version']} {publication['tool'][:12]}",
        f"{tool_version()} {source_hash()[:12]}",
        count,
        count - len({one.claim for one in differs}),
        differs,
    )


def not_by_then(con: duckdb.DuckDBPyConnection, claim: str, day: dt.date) -> str:
    """The sentence for a claim that had no decision by a day."""
    first = first_day_of(con, claim)
    if first is None:
        return f"There is no claim {claim} in the archive; check the number."
    if first <= day:
        return f"By {day} the claim {claim} was no longer in the exports; it was on {first}."
    return f"The claim {claim} was not decided by {day}; it was first on {first}."


def decided_again(
    con: duckdb.DuckDBPyConnection, publication: Row, claims: pl.DataFrame
) -> Decided:
    """The claims decided with what that publication rested on."""
    records = {feed: past_records(con, feed) for feed in DECIDING}
    through = {row["feed"]: row["through_date"] for row in publication["through_dates"]}
    history = history_before(con, publication["publication"])
    files = files_of(con, publication)
    with laid_out(files) as laid:
        return decide(
            evidence_of(records, laid, through, publication["as_of"], days_in(files)),
            laid.terms,
            history,
            laid.settings.timezone,
            only=claims,
            ruling_limits=laid.settings.ruling_limits,
        )


def compare(then: pl.DataFrame, now: Decided, *, with_reasons: bool) -> list[Difference]:
    """What differs between archived decisions and decisions.

    A column that the tool of then did not know is left out: nothing was published of it.

    Args:
        then: of `decision_archive`.
        with_reasons: compare the sentences of the findings too.
    """
    decisions = then.select(name for name in DECIDED if name in then.columns)
    # Columns that only a later tool fills are null in every row of then.
    unknown = [
        n
        for n in decisions.columns
        if not with_reasons and decisions[n].null_count() == then.height
    ]
    differences = _differing(
        decisions.drop(unknown),
        now.decisions,
        ["claim"],
        [name for name in decisions.columns if name not in ("claim", *unknown)],
    )
    findings = (
        then.select("claim", "findings")
        .explode("findings")
        .unnest("findings")
        .drop_nulls("condition")
    )
    columns = [*_COMPARED, "reason"] if with_reasons else list(_COMPARED)
    differences += _differing(findings, now.findings, ["claim", "condition"], columns)
    return sorted(differences, key=lambda one: (one.claim, one.what))


def _differing(
    then: pl.DataFrame, now: pl.DataFrame, key: list[str], columns: list[str]
) -> list[Difference]:
    here = then.with_columns(_then=pl.lit(True))
    there = now.select(*key, *columns).with_columns(_now=pl.lit(True))
    both = here.join(there, on=key, how="full", coalesce=True, suffix="_again")
    differences: list[Difference] = []
    gone = both.filter(pl.col("_then").is_null() | pl.col("_now").is_null())
    for row in gone.iter_rows(named=True):
        what = " ".join(["decided", *(row[name] for name in key[1:])])
        differences.append(Difference(row["claim"], what, bool(row["_then"]), bool(row["_now"])))
    matched = both.filter(pl.col("_then") & pl.col("_now"))
    for name in columns:
        other = matched.filter(pl.col(name).ne_missing(pl.col(f"{name}_again")))
        for row in other.iter_rows(named=True):
            what = " ".join([*(row[one] for one in key[1:]), name])
            differences.append(Difference(row["claim"], what, row[name], row[f"{name}_again"]))
    return differences
