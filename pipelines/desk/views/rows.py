"""Rows set aside, corrections and entered records, as lists.

Belongs here: reading them for pages and programs. Does not belong here: correcting anything
(`pipelines.actions`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from pipelines.actions.listing import corrections as listed_corrections
from pipelines.desk.site import DeskSite
from pipelines.events.recorded import recorded_of
from pipelines.queries.landed_rows import LandedRow, find_row
from pipelines.queries.unused_rows import unused_rows
from pipelines.store.inputs import load_inputs
from pipelines.store.reading import open_store
from pipelines.store.searched import no_records
from pipelines.worklist.search import fold, holding

FEW = 50
_SEARCHED = ("column", "value", "reason")


def set_aside_rows(site: DeskSite, given: Mapping[str, Any]) -> tuple[list[dict[str, Any]], int]:
    """Rows set aside or superseded, one a row with all its reasons, and how many there are.

    Those for which a person entered a record come last.
    """
    wanted = given.get("q") or ""
    with open_store(site.workspace) as con:
        frame = unused_rows(con)
        if wanted:
            frame = _holding(frame, no_records(con), wanted)
    settled = recorded_of(site.desk).settled
    if kind := given.get("kind"):
        frame = frame.filter(pl.col("kind") == kind)
    if feed := given.get("feed"):
        frame = frame.filter(pl.col("feed") == feed)
    if file := given.get("file"):
        frame = frame.filter(pl.col("file") == file)
    if line := given.get("line"):
        frame = frame.filter(pl.col("line") == int(line))
    rows = frame.to_dicts()
    for row in rows:
        row["settled_by"] = settled.get((row["feed"], row["file"], row["line"]))
    rows.sort(key=lambda row: row["settled_by"] is not None)
    offset, limit = given.get("offset", 0), given.get("limit", FEW)
    return rows[offset : offset + limit], len(rows)


def _holding(frame: pl.DataFrame, searched: pl.DataFrame, wanted: str) -> pl.DataFrame:
    """The rows that hold a text: in a cell as typed, found as a search does, or in what is told."""
    texts = [pl.element().struct.field(name).fill_null("") for name in _SEARCHED]
    reasons = pl.col("reasons").list.eval(pl.concat_str(texts, separator="\n")).list.join("\n")
    shown = pl.concat_str("file", reasons, separator="\n").str.to_lowercase()
    matches = holding(searched, wanted) if fold(wanted) else searched.clear()
    cells = matches.select("kind", "feed", "file", "line", in_cells=pl.lit(True)).unique()
    keys = ["kind", "feed", "file", "line"]
    joined = frame.join(cells, on=keys, how="left", nulls_equal=True, maintain_order="left")
    is_shown = shown.str.contains(wanted.lower(), literal=True)
    return joined.filter(is_shown | pl.col("in_cells").fill_null(False)).drop("in_cells")


def corrections(site: DeskSite) -> list[dict[str, Any]]:
    """Every correction made at the desk with its state, the stale ones first."""
    listed: list[dict[str, Any]] = listed_corrections(site.desk)["corrections"]
    return listed


def entered_records(site: DeskSite, claim: str | None = None) -> list[dict[str, Any]]:
    """Every record entered at the desk, the newest first."""
    return [
        {
            "event": one.event,
            "feed": one.feed,
            "claim": one.claim,
            "values": dict(one.values),
            "settles": None
            if one.settles is None
            else {"file": one.settles[0], "line": one.settles[1]},
            "documents": list(one.documents),
            "actor": one.actor,
            "at": one.at,
            "state": "in_force" if one.withdrawn is None else "withdrawn",
        }
        for one in sorted(recorded_of(site.desk).records, key=lambda one: -one.event)
        if claim is None or one.claim == claim
    ]


def row_at(site: DeskSite, feed: str, file: str, line: int) -> LandedRow | None:
    """One landed row as it is now; None where none with columns stands there."""
    with open_store(site.workspace) as con:
        return find_row(con, load_inputs(site.workspace.root, site.day), feed, file, line)
