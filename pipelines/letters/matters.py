"""Matters that letters follow each other about: a claim, or one kind of letter on a unit.

Belongs here: their shape, and the latest letter of each. Does not belong here: which letters are
due (`register`, `reminders`).

An entry is *live* unless it is overtaken or a reminder; the latest live one of a matter is what the
agency was told of it, or will be.
"""

from __future__ import annotations

import datetime as dt
import hashlib

import polars as pl

from schemas.columns import polars_schema
from schemas.register import Letters

SCHEMA = polars_schema(Letters)
# Kinds that ask for something by a day.
ASKING = ("documents", "question")
# One row is one matter on file: what has to be told of it now (`basis` is null where nothing has),
# to whom, what is missing, and within how many days documents are due. `closes` ends what is live.
STANDING = pl.Schema(
    {
        "claim": pl.String(),
        "serial": pl.String(),
        "report": pl.String(),
        "sample": pl.String(),
        "kind": pl.String(),
        "basis": pl.String(),
        "agency": pl.String(),
        "email": pl.String(),
        "missing": pl.String(),
        "within_days": pl.Int64(),
        "closes": pl.Boolean(),
    }
)


STATES = pl.Schema({"entry": pl.Int64(), "state": pl.String(), "answered_on": pl.Date()})
_LIVE = (pl.col("state") != "overtaken") & (pl.col("kind") != "reminder")


def with_matter(rows: pl.DataFrame) -> pl.DataFrame:
    """Adds `matter`: the claim, or kind and serial."""
    of_unit = pl.concat_str(pl.lit("unit"), "kind", "serial", separator="\x1f")
    of_claim = pl.concat_str(pl.lit("claim"), "claim", separator="\x1f")
    return rows.with_columns(
        matter=pl.when(pl.col("claim").is_not_null()).then(of_claim).otherwise(of_unit)
    )


def latest_live(rows: pl.DataFrame) -> pl.DataFrame:
    """The latest live entry of each matter."""
    return rows.filter(_LIVE).sort("entry").unique("matter", keep="last")


def changed_states(
    rows: pl.DataFrame, state: str, answered_on: dt.date | None = None
) -> pl.DataFrame:
    """These entries (entry) in another state."""
    return rows.select("entry", state=pl.lit(state), answered_on=pl.lit(answered_on, pl.Date)).cast(
        STATES
    )


def basis_of(text: str) -> str:
    """The SHA-256 over what a letter tells, by which the same is known to be the same."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
