"""What an action on records comes to: whether its row would be used, and which claims move.

Belongs here: comparing the store with and without one event. Does not belong here: who may act
(`pipelines.actions`), deciding (`pipelines.queries.deciding_now`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import polars as pl

from pipelines.coverage.decisions import Decided
from pipelines.events.recorded import DeskRecord
from pipelines.queries.deciding_now import Touched, claims_touched, decide_now, touched_by
from pipelines.queries.rows_now import RowsNow
from pipelines.queries.store_now import StoreNow, store_now
from pipelines.store.database import identifier, query_frame
from pipelines.store.frames_for_sql import registered
from pipelines.store.inputs import Inputs
from schemas.columns import column_names, key_columns
from schemas.decisions import Decisions
from schemas.feeds import FEED_TABLES, record_schema


@dataclass(frozen=True)
class Moved:
    """One claim that an action bears on: its decision before and after, None where it has none."""

    claim: str
    before: dict[str, Any] | None
    after: dict[str, Any] | None

    def to_dict(self) -> dict[str, Any]:
        """As answers tell it."""
        return {"claim": self.claim, "before": self.before, "after": self.after}


def moved_by_rows(
    inputs: Inputs, before: DeskRecord, after: DeskRecord, feed: str, keys: pl.DataFrame
) -> tuple[list[Moved], Decided | None]:
    """The claims that records of some keys bear on, before and after they changed.

    Beside them what was decided after; None where no claim is left.

    Args:
        inputs: as of the desk's day.
        before, after: what was recorded without and with the action.
        keys: the feed's key columns, of the rows that came, went or changed.
    """
    with (
        store_now(replace(inputs, recorded=before)) as was,
        store_now(replace(inputs, recorded=after)) as now,
    ):
        old, new = _records(was, feed, keys), _records(now, feed, keys)
        touched = touched_by(feed, old) | touched_by(feed, new)
        decided, considered = _decided(now, touched)
        earlier, known = _decided(was, touched | Touched(claims=frozenset(considered)))
    before_of, after_of = _by_claim(earlier), _by_claim(decided)
    claims = sorted({*considered, *known})
    moved = [Moved(claim, before_of.get(claim), after_of.get(claim)) for claim in claims]
    return moved, decided


def _decided(store: StoreNow, touched: Touched) -> tuple[Decided | None, list[str]]:
    """The claims at hand, decided, and all of their numbers."""
    claims = claims_touched(store, touched)
    if claims.is_empty():
        return None, []
    return decide_now(store, claims), claims["claim"].to_list()


def _by_claim(decided: Decided | None) -> dict[str, dict[str, Any]]:
    """The rows of `decisions`."""
    if decided is None:
        return {}
    rows = decided.decisions.select(column_names(Decisions))
    return {row["claim"]: row for row in rows.iter_rows(named=True)}


def _records(store: StoreNow, feed: str, keys: pl.DataFrame) -> pl.DataFrame:
    """The records of some keys as they are now."""
    names = record_schema(feed).names()
    columns = ", ".join(identifier(name) for name in names)
    joined = ", ".join(identifier(name) for name in key_columns(FEED_TABLES[feed]))
    with registered(store.con, keys) as keys_view:
        return query_frame(
            store.con,
            f"select {columns} from {identifier(feed)} semi join {keys_view} using ({joined})",
        )


def fate_of(rows: RowsNow, file: str, line: int) -> str | None:
    """What becomes of the row at a place: record, superseded, duplicate, set_aside; or None."""
    mine = rows.fates.filter((pl.col("file") == file) & (pl.col("line") == line))
    return None if mine.is_empty() else str(mine["fate"][0])


def places_losing_claim(rows: RowsNow, claim: str) -> list[tuple[str, int]]:
    """Where calls stand that are set aside since an earlier one has this claim number."""
    twice = (pl.col("rule") == "claim_once") & (pl.col("value") == claim)
    return list(rows.set_aside.filter(twice).select("file", "line").iter_rows())


def reasons_of(rows: RowsNow, file: str, line: int) -> list[tuple[str, str, str]]:
    """Why the row at a place is set aside: column, rule, sentence."""
    mine = rows.set_aside.filter((pl.col("file") == file) & (pl.col("line") == line))
    return list(mine.select("column", "rule", "reason").iter_rows())
