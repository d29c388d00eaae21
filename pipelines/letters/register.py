"""Which letters are due: the register brought up to what stands, each thing told exactly once.

Belongs here: what is new, overtaken, answered, and to be reminded of; values in, values out. Does
not belong here: what a letter says (`values`), where entries are kept (`pipelines.events`), or
sending.

A *matter* is what letters follow each other about: a claim, or one kind of letter on a unit. The
agency is told of each state of a matter once: an entry is *live* unless it is overtaken or a
reminder, and the latest live one is what the agency was told, or will be.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass

import polars as pl

from pipelines.coverage.calendar_days import add_days
from pipelines.letters.matters import (
    ASKING,
    SCHEMA,
    STATES,
    changed_states,
    latest_live,
    with_matter,
)
from pipelines.letters.reminders import reminders_due, with_dropped_reminders
from schemas.polars_types import greatest, latest_day


@dataclass(frozen=True)
class Due:
    """What one look at what stands adds to the register.

    `entries` are new rows in the shape of `schemas.register.Letters`; `states` the entries that
    change: entry, state, answered_on.
    """

    entries: pl.DataFrame
    states: pl.DataFrame

    @classmethod
    def between(cls, register: pl.DataFrame, after: pl.DataFrame) -> Due:
        """What makes `after` of a register: the way back from `applied`."""
        before = register.select("entry", _state="state", _answered_on="answered_on")
        changed = after.join(before, on="entry").filter(pl.col("state") != pl.col("_state"))
        day = pl.col("answered_on")
        newly_answered = pl.when(day.ne_missing(pl.col("_answered_on"))).then(day)
        states = changed.select("entry", "state", answered_on=newly_answered)
        new = after.join(before, on="entry", how="anti")
        return cls(new.select(SCHEMA.names()).sort("entry"), states.sort("entry"))

    @property
    def is_nothing(self) -> bool:
        """Whether the register stays as it is."""
        return self.entries.is_empty() and self.states.is_empty()

    def applied(self, register: pl.DataFrame) -> pl.DataFrame:
        """The register with all of it."""
        changed = self.states.rename({"state": "_state", "answered_on": "_answered_on"})
        kept = register.join(changed, on="entry", how="left", maintain_order="left").with_columns(
            state=pl.coalesce("_state", "state"),
            answered_on=pl.coalesce("_answered_on", "answered_on"),
        )
        return pl.concat([kept.select(SCHEMA.names()), self.entries]).cast(SCHEMA)


@dataclass(frozen=True)
class Ends:
    """How far a whole register goes: its last entry, 0 without one, and its latest as-of day."""

    last_entry: int
    latest_as_of: dt.date | None

    @classmethod
    def of(cls, register: pl.DataFrame) -> Ends:
        """Those of a register of which every entry is at hand."""
        return cls(greatest(register["entry"]), latest_day(register["as_of"]))


def due(
    register: pl.DataFrame,
    standing: pl.DataFrame,
    as_of: dt.date,
    made_at: dt.datetime,
    *,
    ends: Ends | None = None,
    since: dt.date | None = None,
    reminders: int = 1,
    kinds: Collection[str] | None = None,
    gone: Collection[str] = (),
) -> Due:
    """What is to be added to the register for the matters in `standing`.

    Args:
        register: the entries so far, in the shape of `schemas.register.Letters`: all, or those of
            the matters in `standing`.
        standing: one row a matter, in the shape of STANDING; matters that it leaves out stay.
        as_of: the day of the refresh or action. Before the latest one in the register nothing
            changes: looking back writes to nobody.
        made_at: when the entries are made, UTC without zone.
        ends: of the whole register, where `register` is a part of it.
        since: what is known as of an earlier day was told before; without it, what first fills
            the register was.
        reminders: how many follow an unanswered request for documents.
        kinds: those that are made, None: all. What was made of another kind is followed on.
        gone: claims that are no longer on file: nothing is told of them that was not sent yet.
    """
    nothing = Due(SCHEMA.to_frame(), STATES.to_frame())
    ends = ends or Ends.of(register)
    if ends.latest_as_of is not None and as_of < ends.latest_as_of:
        return nothing
    matters = with_matter(standing)
    states = _changes(register, matters, as_of, gone)
    after = Due(nothing.entries, states.unique("entry", keep="first")).applied(register)
    told_before = as_of < since if since is not None else ends.last_entry == 0
    new = _new(after, matters, as_of, "told_before" if told_before else "to_send")
    again = reminders_due(after, matters, as_of, reminders)
    made = pl.concat([new, again], how="diagonal_relaxed")
    wanted = made if kinds is None else made.filter(pl.col("kind").is_in([*kinds]))
    entries = wanted.sort(
        pl.col("reminds").is_not_null(), "claim", "serial", "kind", nulls_last=True
    )
    first = 1 + ends.last_entry
    numbered = entries.with_columns(
        entry=pl.int_range(first, first + pl.len(), dtype=pl.Int64),
        as_of=pl.lit(as_of),
        made_at=pl.lit(made_at),
    )
    lacking = [pl.lit(None).alias(name) for name in SCHEMA if name not in numbered.columns]
    return Due(
        numbered.with_columns(lacking).select(SCHEMA.names()).cast(SCHEMA),
        with_dropped_reminders(after, matters, states),
    )


def _changes(
    register: pl.DataFrame, matters: pl.DataFrame, as_of: dt.date, gone: Collection[str]
) -> pl.DataFrame:
    """What becomes of the entries so far."""
    before = with_matter(register).join(
        matters.select("matter", now="basis", asked="missing", closes="closes"), on="matter"
    )
    changes = (_overtaken(before), _answered(before, as_of), _closed(before))
    return pl.concat([*changes, _of_gone(register, gone)])


def _overtaken(before: pl.DataFrame) -> pl.DataFrame:
    """The latest live entries that were not sent yet and are no longer what stands."""
    latest = latest_live(before)
    return changed_states(
        latest.filter((pl.col("state") == "to_send") & pl.col("basis").ne_missing(pl.col("now"))),
        "overtaken",
    )


def _of_gone(register: pl.DataFrame, gone: Collection[str]) -> pl.DataFrame:
    """What is still to be sent, reminders too, of claims that are no longer on file; of a mail that
    may have gone out a person says what became of it."""
    waits = (pl.col("state") == "to_send") & pl.col("sending_at").is_null()
    return changed_states(register.filter(waits, pl.col("claim").is_in([*gone])), "overtaken")


def _answered(before: pl.DataFrame, as_of: dt.date) -> pl.DataFrame:
    """The requests that were sent, where something else is missing now than was asked for."""
    changed = pl.col("missing").ne_missing(pl.col("asked"))
    requests = pl.col("kind").is_in(ASKING) & (pl.col("state") == "sent")
    return changed_states(before.filter(requests & changed), "answered", as_of)


def _closed(before: pl.DataFrame) -> pl.DataFrame:
    """All live entries of matters that are settled, where they went out."""
    went_out = pl.col("state").is_in(["sent", "answered", "told_before"])
    settled = pl.col("closes").fill_null(False) & (pl.col("kind") != "reminder")
    return changed_states(before.filter(settled & went_out), "closed")


def _new(register: pl.DataFrame, matters: pl.DataFrame, as_of: dt.date, state: str) -> pl.DataFrame:
    """An entry for each matter whose latest live entry tells something else, or that has none."""
    numbered = with_matter(register)
    live = latest_live(numbered).select("matter", told="basis")
    last = (
        numbered.filter(pl.col("kind") != "reminder")
        .group_by("matter")
        .agg(replaces=pl.col("entry").max())
    )
    asks = pl.col("kind").is_in(ASKING)
    return (
        matters.filter(pl.col("basis").is_not_null())
        .join(live, on="matter", how="left")
        .filter(pl.col("basis").ne_missing(pl.col("told")))
        .join(last, on="matter", how="left")
        .with_columns(
            state=pl.lit(state),
            due_on=pl.when(asks).then(add_days(pl.lit(as_of), pl.col("within_days"))),
            reminds=pl.lit(None, pl.Int64),
        )
        .drop("matter", "told", "within_days", "closes")
    )
