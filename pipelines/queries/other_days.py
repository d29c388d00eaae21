"""One claim decided again as of another day, under today's terms, from what was known by a day.

Belongs here: gathering the records of then and deciding. Does not belong here: what was published
(`past_explanation`), or any rule.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import duckdb
import polars as pl

from pipelines.counterfactuals import Counterfactuals, as_data, sentences_of, what_would_turn
from pipelines.coverage import Evidence, decide, seen
from pipelines.errors import NotFoundError
from pipelines.events.ruling_days import Days
from pipelines.queries.explanation import Explanation
from pipelines.queries.laid_over import lay_arrived
from pipelines.queries.reproduction import not_by_then
from pipelines.queries.scratch import LaidOut, days_in, evidence_of
from pipelines.steps.decide import suggested_serials
from pipelines.store.archive.reading import (
    files_of,
    find_past,
    open_archive,
    past_records,
    publication_by,
    publications,
)
from pipelines.store.considered import DECIDING
from pipelines.store.database import query_frame
from pipelines.store.evidence import evidence_around
from pipelines.store.inputs import Inputs, load_inputs
from pipelines.store.reading import no_such_claim, open_store
from pipelines.workspace.layout import Workspace
from schemas.columns import column_names
from schemas.feeds import Credits, Rulings

Known = tuple[Evidence, pl.DataFrame | None]


@dataclass(frozen=True)
class _Past:
    """What a publication rested on for a claim; without evidence where it did not decide it.

    `unknown` is the sentence for a claim that had not arrived.
    """

    evidence: Evidence | None
    through: Mapping[str, dt.date | None]
    days: Days
    unknown: str


def explain_as_of(
    workspace: Workspace, claim: str, as_of: dt.date, known: dt.date | None
) -> Explanation:
    """A claim as of a day, from what had arrived by `known` (None: all that has).

    Raises:
        NotFoundError: nothing was published by `known`; or the claim was not known by then, or is
            not seen by the day.
    """
    inputs = load_inputs(workspace.root, as_of)
    past = _past(workspace, inputs, claim, known) if known is not None else None
    with open_store(workspace) as con:
        if past is None or known is None:
            evidence, suggestions = _of_store(inputs, con, claim)
        else:
            evidence, suggestions = past.evidence or _arrived(inputs, con, claim, past, known), None
        history = query_frame(
            con, "select * from decision_history where claim = ? order by decided_at", [claim]
        )
        posted = query_frame(
            con,
            "select * from credits where claim = ? and credited_on <= ? and arrived_on <= ? "
            "order by credited_on",
            [claim, as_of, known or dt.date.max],
        )
    if known is not None:  # by then nobody could look back on what was decided later
        zone = inputs.settings.timezone
        day = pl.col("decided_at").dt.replace_time_zone("UTC").dt.convert_time_zone(zone).dt.date()
        history = history.filter(day <= known)
    decided = decide(
        evidence,
        inputs.terms,
        history,
        inputs.settings.timezone,
        only=pl.DataFrame({"claim": [claim]}),
        suggestions=suggestions,
        ruling_limits=inputs.settings.ruling_limits,
    )
    if decided.decisions.is_empty():
        raise NotFoundError(f"The claim {claim} is not seen as of {as_of}: its call opens later.")
    sentences, turned_by = _what_would_change(seen(evidence), inputs, decided.decisions)
    now = seen(evidence)
    rulings = now.rulings.filter(pl.col("claim") == claim).sort("ruled_at")
    return Explanation(
        decided.decisions.row(0, named=True),
        decided.findings.to_dicts(),
        history.to_dicts(),
        sentences,
        turned_by,
        [
            row | {"since_refresh": False}
            for row in rulings.select(column_names(Rulings)).to_dicts()
        ],
        [],
        None,
        posted.select(name for name in column_names(Credits) if name != "claim").to_dicts(),
        _unit(now, decided.decisions["serial"][0]),
        as_of.isoformat(),
        inputs.settings.currency,
    )


def _past(workspace: Workspace, inputs: Inputs, claim: str, known: dt.date) -> _Past | None:
    """What the last publication by a day knew; None where it is the present one."""
    with open_archive(workspace) as con:
        publication = publication_by(con, known)
        if publication["publication"] == publications(con)["publication"].max():
            return None
        is_decided = find_past(con, publication["publication"], claim)
        records = {feed: past_records(con, feed) for feed in DECIDING} if is_decided else {}
        unknown = not_by_then(con, claim, known)
        days = days_in(files_of(con, publication))
    through = {row["feed"]: row["through_date"] for row in publication["through_dates"]}
    laid = LaidOut(inputs.settings, inputs.reference, inputs.terms)
    evidence = evidence_of(records, laid, through, inputs.as_of, days) if records else None
    return _Past(evidence, through, days, unknown)


def _arrived(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, claim: str, past: _Past, known: dt.date
) -> Evidence:
    """What had arrived by a day and had not left by then, of a claim that was not decided yet.

    The call was on file, and opens after the day as of which that publication decided.

    Raises:
        NotFoundError: the claim had not arrived either.
    """
    for feed in DECIDING:
        lay_arrived(con, feed, known)
    serials = query_frame(con, "select serial from service_calls where claim = ?", [claim])
    if serials.is_empty():
        raise NotFoundError(past.unknown)
    evidence = evidence_around(inputs, con, serials["serial"])
    return replace(
        evidence,
        through=dict(past.through),
        approvals=past.days["approvals"],
        withdrawals=past.days["withdrawals"],
    )


def _of_store(inputs: Inputs, con: duckdb.DuckDBPyConnection, claim: str) -> Known:
    """What the store knows of the claim, and the suggestion for its serial."""
    serials = query_frame(con, "select serial from service_calls where claim = ?", [claim])
    if serials.is_empty():
        raise NotFoundError(no_such_claim(claim))
    evidence = evidence_around(inputs, con, serials["serial"])
    return evidence, suggested_serials(inputs, con, serials["serial"])


def _what_would_change(
    evidence: Evidence, inputs: Inputs, decisions: pl.DataFrame
) -> tuple[list[str], list[dict[str, Any]]]:
    if decisions["verdict"][0] == "covered":
        return sentences_of(Counterfactuals.covered()), []
    counterfactuals = next(iter(what_would_turn(evidence, inputs.terms, decisions).values()), None)
    return (
        (sentences_of(counterfactuals), as_data(counterfactuals))
        if counterfactuals is not None
        else ([], [])
    )


def _unit(evidence: Evidence, serial: str) -> dict[str, Any]:
    of_unit = evidence.units.filter(pl.col("serial") == serial)
    return {"replaces": of_unit["replaces"][0] if of_unit.height else None, "replacement": None}
