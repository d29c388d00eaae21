"""Which claims can come out otherwise than the last refresh decided them.

Belongs here: what must hold for a claim's decision to stand, told from what changed in the store.
Does not belong here: deciding (`pipelines.steps.decide`), or any rule.

A decision is a function of the code, the workspace's settings, reference files and terms, the
records of the claim's unit and site as seen by the as-of date, and whether a feed is complete up to
some day. So it stands where

- code and inputs are the same, and neither the as-of date nor a through date went back;
- no record of the unit, the site or the claim came, went or changed, or came to be seen;
- every feed was complete already up to the failure, and the start-ups up to the last day to ask
  for one, so that the step of the through dates cannot matter;
- the unit is on the register (else every unit bears on the suggestion of a serial), and neither
  took over from another nor was taken over from;
- a ruling is as outdated as it was: what it was made on is read from the history, to which the
  last refresh may have added;
- no ruling on the claim was approved or withdrawn since the day from which it stands as it does.

Every other claim is decided again. The figures of a water sample rest on less: on code and inputs,
and on its own record.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

import duckdb
import polars as pl

from pipelines.coverage.evidence import SILENCE_COUNTS, seen
from pipelines.coverage.standing import latest_rulings, with_ruling_outdated
from pipelines.errors import WorkspaceError
from pipelines.store.database import LAST, has_table, identifier, one_row, query_frame, read_frame
from pipelines.store.evidence import load_evidence
from pipelines.store.frames_for_sql import registered
from pipelines.store.transaction import RefreshSession
from schemas.codes import FEEDS
from schemas.columns import column_names
from schemas.feeds import FEED_TABLES, record_schema

KEYS = pl.Schema(dict.fromkeys(("serial", "site", "claim", "sample"), pl.String))


def changed_keys(session: RefreshSession, feeds: Iterable[str] = FEEDS) -> pl.DataFrame:
    """The units, sites, claims and samples of records that came, went or changed: rows of KEYS.

    So it tells those of records that are seen now and were not by the last refresh. Rows of the
    published store and of the working copy are compared by a hash of all their columns, their place
    included; those of a feed of which each file is read as it was are the same.
    """
    parts = [_changed_keys(session, feed) for feed in feeds]
    return pl.concat([KEYS.to_frame(), *parts]).unique()


def _changed_keys(session: RefreshSession, feed: str) -> pl.DataFrame:
    con, last = session.con, session.last
    assert last.state is not None
    if not has_table(con, f"{LAST}.{feed}"):
        raise WorkspaceError(
            f"{session.inputs.workspace.database} has no table {feed}, which every store has. "
            "Move the file away and refresh: it is made anew from the exports and the rulings."
        )
    columns = record_schema(feed).names()
    keys = ", ".join(
        f"{identifier(key)} as {key}" if key in columns else f"null::varchar as {key}"
        for key in KEYS
    )
    places = [keys]
    if "replaces" in columns:  # a link bears on both its ends, also once it is gone
        others = (f"null::varchar as {key}" for key in KEYS if key != "serial")
        places.append(", ".join(["replaces as serial", *others]))
    row = f"hash({', '.join(identifier(name) for name in columns)})"
    old, now = f"{LAST}.{identifier(feed)}", identifier(feed)
    days = [
        name
        for kind in ("day", "moment")
        for name in column_names(FEED_TABLES[feed], kind=kind)
        if name in columns
    ]
    came = " or ".join(
        f"(cast({identifier(name)} as date) > $last and cast({identifier(name)} as date) <= $now)"
        for name in days
    )
    parts = [f"from {now} where {came or 'false'}"]
    if _is_delivered_otherwise(con, feed):
        parts.append(f"from {old} where {row} not in (select {row} from {now})")
        parts.append(f"from {now} where {row} not in (select {row} from {old})")
    changed = query_frame(
        con,
        " union ".join(f"select {place} {part}" for place in places for part in parts),
        {"last": last.state.as_of, "now": session.inputs.as_of},
    )
    return changed.cast(KEYS)


def _is_delivered_otherwise(con: duckdb.DuckDBPyConnection, feed: str) -> bool:
    """Whether a file of the feed came, went, changed, or is read otherwise than before."""
    chosen = (
        "select file, sha256, read_by from {0}export_files where feed = $feed or file in "
        "(select file from {0}file_parts where feed = $feed)"
    )
    now, before = chosen.format(""), chosen.format(f"{LAST}.")
    return bool(
        one_row(con, f"({now} except {before}) union all ({before} except {now})", {"feed": feed})
    )


def claims_to_decide(session: RefreshSession, claims: pl.DataFrame) -> pl.DataFrame:
    """Those of the claims (claim, serial) whose last decision need not stand."""
    con, last, inputs = session.con, session.last, session.inputs
    through = dict(read_frame(con, "feed_states", columns=["feed", "through_date"]).iter_rows())
    before, now = (
        [days.get(feed) or dt.date.min for feed in SILENCE_COUNTS]
        for days in (last.through, through)
    )
    went_back = any(new < old for old, new in zip(before, now, strict=True))
    if not last.can_stand(session.state) or went_back:
        return claims
    touched = changed_keys(session)
    units = read_frame(
        con, "units", columns=["serial", "site", "replaces", "shipped_on", "purchased_on"]
    ).filter((pl.col("shipped_on") <= inputs.as_of).fill_null(True))
    sites = pl.concat(
        [
            touched["site"],
            units.join(touched.select("serial").drop_nulls(), on="serial", how="semi")["site"],
        ]
    ).drop_nulls()
    taking_over = units.filter(pl.col("replaces").is_not_null())
    linked = pl.concat([taking_over["serial"], taking_over["replaces"]])
    asked_days = max([0, *inputs.terms.values["request_within_days"].drop_nulls()])
    latest = pl.max_horizontal("shipped_on", "purchased_on", "clock_start", "failed_on")
    # The last day that the rules compare with a through date, and that every feed had reached.
    turning = latest + pl.duration(days=asked_days)
    decided = read_frame(
        con,
        f"{LAST}.decisions",
        columns=[
            "claim",
            "verdict",
            "failed_on",
            "clock_start",
            "ruling",
            "ruling_outdated",
            "standing_since",
        ],
    )
    standing = (
        claims.join(decided, on="claim")
        .join(units, on="serial")
        .filter(
            ~pl.col("claim").is_in(touched["claim"].drop_nulls().implode())
            & ~pl.col("serial").is_in(touched["serial"].drop_nulls().implode())
            & ~pl.col("site").is_in(sites.implode()).fill_null(False)
            & ~pl.col("serial").is_in(linked.implode())
            & (turning <= min(before))
        )
        .join(_read_otherwise(session, decided), on="claim", how="anti")
        .join(_moved_days(session, decided), on="claim", how="anti")
    )
    return claims.join(standing, on="claim", how="anti")


def _read_otherwise(session: RefreshSession, decided: pl.DataFrame) -> pl.DataFrame:
    """The claims (claim) of which today's history says otherwise whether the ruling is outdated."""
    con, inputs = session.con, session.inputs
    ruled = decided.filter(pl.col("ruling").is_not_null())
    rulings = latest_rulings(seen(load_evidence(inputs, con, only=["rulings"])).rulings)
    moments = ruled.select("claim", "verdict").join(rulings.select("claim", "ruled_at"), on="claim")
    with registered(con, ruled.select("claim")) as wanted:
        history = query_frame(
            con,
            f"select claim, decided_at, as_of, to_verdict from {LAST}.decision_history "
            f"semi join {wanted} using (claim)",
        )
    now = with_ruling_outdated(moments, history, inputs.settings.timezone)
    return (
        ruled.select("claim", was="ruling_outdated")
        .join(now, on="claim", how="left")
        .filter(pl.col("ruling_outdated").ne_missing(pl.col("was")))
        .select("claim")
    )


def _moved_days(session: RefreshSession, decided: pl.DataFrame) -> pl.DataFrame:
    """The claims (claim) of which a ruling was approved or withdrawn later than what stands.

    A withdrawal need not move a record: the ruling may never have reached a refresh.
    """
    now = seen(load_evidence(session.inputs, session.con, only=[]))
    days = pl.concat(
        [
            now.approvals.select("claim", day="approved_on"),
            now.withdrawals.select("claim", day="withdrawn_on"),
        ]
    )
    return (
        decided.join(days, on="claim")
        .filter(pl.col("day") > pl.col("standing_since"))
        .select("claim")
    )


def samples_to_work_out(session: RefreshSession) -> pl.DataFrame | None:
    """The water samples (sample) whose figures need not be what they were; None for all."""
    if not session.last.can_stand(session.state):
        return None
    return changed_keys(session, ["water_tests"]).select("sample").drop_nulls().unique()
