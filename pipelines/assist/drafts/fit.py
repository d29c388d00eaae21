"""What a judgment of values is, and which columns are never taken on their name alone.

Belongs here: words that all judgments share. Does not belong here: judging (`fitness`).
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipelines.assist.drafts.known import Known, share_known
from pipelines.assist.drafts.profiles import Profile
from pipelines.assist.drafts.serial_forms import best_repair
from pipelines.records.mapping_checks import LONG_PARTS
from schemas.columns import fields
from schemas.feeds import FEED_TABLES

KEYS = ("serial", "report", "sample", "order", "line", "call", "claim", "site")
AMOUNT_KINDS = ("number", "analyte", "integer", "money", "hours")


@dataclass(frozen=True)
class Fit:
    """How values suit a column.

    - `likeness`: from 0 to 1.
    - `why`: what speaks for it or against it, in words.
    - `forbids`: why the header may never be taken for the column unasked; empty where nothing does.
    - `is_strong`: whether the values alone already point to the column.
    """

    likeness: float
    why: str
    forbids: str = ""
    is_strong: bool = False


def kind_of(feed: str, column: str) -> str:
    """What a column holds; of the long layout `name`, `number` and `text`."""
    if column in LONG_PARTS and column not in fields(FEED_TABLES[feed]):
        return {"analyte": "name", "value": "number"}.get(column, "text")
    return str((fields(FEED_TABLES[feed])[column].metadata or {})["kind"])


def is_guarded(feed: str, column: str) -> bool:
    """Whether a column is a key or an amount, which is never taken on its name alone."""
    return column in KEYS or kind_of(feed, column) in AMOUNT_KINDS


def share_found(profile: Profile, known: Known, kind: str) -> float:
    """The share of rows that is known, under the steps under which most are."""
    return profile.once(
        ("found", kind), lambda: best_repair(profile.texts, known.of(kind), kind).share
    )


def named_share(profile: Profile, known: Known, kind: str) -> float:
    """The share of rows whose text is the name of something known."""
    names = pl.Series(list(known.names.get(kind, {})), dtype=pl.String)
    return share_known(profile.texts, names, kind)
