"""Reads and validates a workspace without writing anything.

Belongs here: the same reading and accounting as a refresh, kept in memory. Does not belong here:
the store.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from pipelines.records.headers import absent_headers
from pipelines.records.problems import problems
from pipelines.steps.ingest import (
    all_set_aside,
    feed_states,
    read_files,
    row_accounts,
    settle,
    stored_schema,
)
from pipelines.steps.landing import PARSED_SET_ASIDE, told_of
from pipelines.steps.near_serials import of_claims, of_serials, suggestions
from pipelines.store.deliveries import EXPORT_FILES, delivered
from pipelines.store.inputs import Inputs, load_inputs
from schemas.codes import FEEDS


@dataclass(frozen=True)
class Checked:
    """What a check found: totals, problems by what must be mended, near-miss numbers, feeds.

    `absent_headers` are those that a mapping names and a file that was read lacks.
    """

    totals: dict[str, int]
    accounts: list[dict[str, Any]]
    problems: list[dict[str, Any]]
    suggestions: list[dict[str, Any]]
    claim_suggestions: list[dict[str, Any]]
    absent_headers: list[dict[str, Any]]
    feeds: list[dict[str, Any]]
    exit_code: int

    def to_dict(self) -> dict[str, Any]:
        """For JSON."""
        return dict(vars(self))


def check_workspace(
    folder: str | Path, as_of: str | None, progress: Callable[[str], None]
) -> Checked:
    """Reads everything that a refresh would read, and says what would become of it."""
    inputs = load_inputs(folder, as_of)
    facts, aside = [], [PARSED_SET_ASIDE.to_frame()]
    rows: dict[str, list[pl.DataFrame]] = {
        feed: [stored_schema(inputs, feed).to_frame()] for feed in FEEDS
    }
    for one in read_files(inputs, delivered(inputs)):
        progress(f"Read {one.facts['file']}")
        facts.append(one.facts)
        if one.parsed.set_aside.height:
            aside.append(told_of(one))
        if one.parsed.rows.height:
            named = one.parsed.rows.drop("raw").with_columns(source_file=pl.lit(one.facts["file"]))
            rows[one.facts["feed"]].append(named)
    files = pl.DataFrame(
        [{**dict.fromkeys(EXPORT_FILES.names()), **fact} for fact in facts], schema=EXPORT_FILES
    )
    told = pl.concat(aside)
    accounted = {
        feed: settle(inputs, feed, pl.concat(rows[feed], how="diagonal"), files, told)
        for feed in FEEDS
    }
    accounts = row_accounts(files, accounted)
    states = feed_states(inputs, accounts, accounted)
    near = suggestions({feed: accounted[feed].records for feed in FEEDS})
    whole = files.filter("is_whole")["file"].to_list()
    counted = ["rows_read", "records", "superseded", "duplicates", "set_aside"]
    needs_person = (
        bool(whole) or states.select((pl.col("stale") | pl.col("beyond_tolerance")).any()).item()
    )
    return Checked(
        {"files": accounts.height, **accounts.select(pl.col(counted).sum()).row(0, named=True)},
        accounts.to_dicts(),
        problems(all_set_aside(told, accounted), whole).to_dicts(),
        of_serials(near).drop("column").to_dicts(),
        of_claims(near).drop("column").to_dicts(),
        _absent_headers(inputs, facts),
        states.to_dicts(),
        int(needs_person),
    )


def _absent_headers(inputs: Inputs, facts: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """A line a file and column; a file that is set aside whole says already what it lacks."""
    return [
        {"feed": file["feed"], "file": file["file"], "column": column, "sentence": sentence}
        for file in facts
        if not file["is_whole"] and file["feed"] in inputs.mappings
        for column, sentence in absent_headers(
            file["feed"], file["headers"], inputs.mappings[file["feed"]]
        ).items()
    ]
