"""Reads and validates a workspace without writing anything.

Belongs here: the same reading and accounting as a refresh, kept in memory. Does not belong here:
the store.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import polars as pl

from pipelines.queries.unused_mappings import unused_of_mappings
from pipelines.records.accounting import ENDS
from pipelines.records.headers import absent_headers
from pipelines.records.join_sentences import sentences_below
from pipelines.records.problems import problems
from pipelines.steps.feed_states import feed_states
from pipelines.steps.ingest import (
    all_set_aside,
    read_files,
    row_accounts,
    settle,
    stored_rows,
)
from pipelines.steps.joins import report_of
from pipelines.steps.landing import (
    facts_of,
    left_out_of,
    set_aside_of,
)
from pipelines.steps.near_serials import of_claims, of_serials, suggestions
from pipelines.steps.read_part import ReadPart
from pipelines.store.deliveries import EXPORT_FILES, delivered
from pipelines.store.inputs import load_inputs
from schemas.codes import FEEDS


@dataclass(frozen=True)
class Checked:
    """What a check found: totals, problems by what must be mended, near-miss numbers, feeds.

    `absent_headers` are those that a mapping names and a file that was read lacks; `left_out`
    counts rows by mapping and reason; `unused` are sentences about mappings and entries that do
    nothing; `attention` tell of example terms and of joins that match too little.
    """

    totals: dict[str, int]
    accounts: list[dict[str, Any]]
    problems: list[dict[str, Any]]
    suggestions: list[dict[str, Any]]
    claim_suggestions: list[dict[str, Any]]
    absent_headers: list[dict[str, Any]]
    left_out: list[dict[str, Any]]
    unused: list[str]
    feeds: list[dict[str, Any]]
    joins: list[dict[str, Any]]
    join_misses: list[dict[str, Any]]
    attention: list[str]
    exit_code: int

    def to_dict(self) -> dict[str, Any]:
        """For JSON."""
        return dict(vars(self))


def check_workspace(
    folder: str | Path, as_of: str | None, progress: Callable[[str], None]
) -> Checked:
    """Reads everything that a refresh would read, and says what would become of it."""
    inputs = load_inputs(folder, as_of)
    facts: list[dict[str, Any]] = []
    parts: list[tuple[str, ReadPart]] = []
    typed: dict[str, list[tuple[str, ReadPart]]] = {feed: [] for feed in FEEDS}
    files_there = delivered(inputs)
    for one in read_files(inputs, files_there):
        progress(f"Read {one.facts['file']}")
        facts.append(one.facts)
        for part in one.parts:
            if part.parsed.rows.height:
                typed[part.feed].append((one.facts["file"], _typed_alone(part)))
            parts.append((one.facts["file"], _without_rows(part)))
    files = pl.DataFrame(
        [{**dict.fromkeys(EXPORT_FILES.names()), **fact} for fact in facts], schema=EXPORT_FILES
    )
    set_aside, left_out = set_aside_of(parts), left_out_of(parts)
    of_parts = facts_of(parts)
    accounted = {
        feed: settle(inputs, feed, stored_rows(feed, typed[feed]), of_parts, set_aside)
        for feed in FEEDS
    }
    accounts = row_accounts(files, of_parts, accounted)
    states = feed_states(inputs, accounts, accounted)
    aside = all_set_aside(set_aside, accounted, inputs.recorded)
    joins, misses = report_of(
        inputs, lambda feed, columns: accounted[feed].records.select(columns), aside
    )
    attention = [
        *filter(None, [inputs.terms.warning]),
        *sentences_below(joins, misses, accounts),
    ]
    near = suggestions({feed: accounted[feed].records for feed in FEEDS})
    whole = files.filter("is_whole")["file"].to_list()
    counted = ["rows_read", "rows_split", *ENDS]
    needs_person = (
        bool(whole)
        or bool(attention)
        or states.select((pl.col("stale") | pl.col("beyond_tolerance")).any()).item()
    )
    return Checked(
        {"files": files.height, **accounts.select(pl.col(counted).sum()).row(0, named=True)},
        accounts.to_dicts(),
        problems(aside, whole).to_dicts(),
        of_serials(near).drop("column").to_dicts(),
        of_claims(near).drop("column").to_dicts(),
        _absent_headers(parts),
        _left_out(left_out, of_parts),
        unused_of_mappings(inputs, [one.export.path for one in files_there], parts),
        states.to_dicts(),
        joins.to_dicts(),
        misses.to_dicts(),
        attention,
        int(needs_person),
    )


def _typed_alone(part: ReadPart) -> ReadPart:
    """A part without the texts from which its rows were typed."""
    parsed = replace(part.parsed, rows=part.parsed.rows.drop("raw"))
    return replace(part, parsed=parsed, reading=None, landed=part.landed.clear())


def _without_rows(part: ReadPart) -> ReadPart:
    """A part without what is large."""
    parsed = replace(part.parsed, rows=part.parsed.rows.clear())
    reading = part.reading and replace(
        part.reading, rows=part.reading.rows.clear(), faults=part.reading.faults.clear(), typed=None
    )
    return replace(part, parsed=parsed, reading=reading, landed=part.landed.clear())


def _absent_headers(parts: list[tuple[str, ReadPart]]) -> list[dict[str, Any]]:
    """A line a file and column; a file that is set aside whole says already what it lacks."""
    return [
        {"feed": part.feed, "file": file, "column": column, "sentence": sentence}
        for file, part in parts
        if not part.parsed.is_whole and part.mapping is not None and part.header
        for column, sentence in absent_headers(part.feed, part.header, part.mapping).items()
    ]


def _left_out(left_out: pl.DataFrame, parts: pl.DataFrame) -> list[dict[str, Any]]:
    """How many rows each mapping leaves out for which reason; of whole sheets, all of theirs."""
    place = ["feed", "mapping", "file", "sheet"]
    of_place = left_out.group_by(*place, "reason").agg(pl.len().cast(pl.Int64).alias("rows"))
    alone = pl.len().over(place) == 1
    counted = of_place.join(parts.select(*place, "left_out"), on=place, how="left").with_columns(
        rows=pl.when(alone).then("left_out").otherwise("rows")
    )
    by_reason = counted.group_by("feed", "mapping", "reason").agg(pl.col("rows").sum())
    return by_reason.sort("feed", "mapping", "reason").to_dicts()
