"""What came of a refresh, for a person and for a program.

Belongs here: counting and telling it. Does not belong here: the steps of a refresh, or walking them
(`pipelines.steps.in_order`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import polars as pl

from pipelines.records.accounting import ENDS
from pipelines.records.problems import ends_of_mappings, whole_files_in_words
from pipelines.steps.join_attention import attention as attention_of
from pipelines.store.archive.files import archive_faults
from pipelines.store.claim_reads import latest_changes, verdict_counts
from pipelines.store.database import connect, read_frame
from pipelines.store.inputs import Inputs
from schemas.wording import counted


@dataclass(frozen=True)
class Summary:
    """What a refresh found, for a person and for a program."""

    as_of: dt.date
    rows_read: int
    records: int
    superseded: int
    duplicates: int
    set_aside: int
    files: int
    files_set_aside: list[str]
    set_aside_beyond_tolerance: list[str]
    stale_feeds: list[str]
    claims: int
    verdicts: dict[str, int]
    changed_claims: int
    pages: str
    left_out: int = 0
    joined: int = 0
    rows_split: int = 0
    seconds: float = 0.0
    attention: list[str] = field(default_factory=list)
    unusual: list[str] = field(default_factory=list)

    @property
    def exit_code(self) -> int:
        """0, or 1 where something needs a person; what is only unusual is told, no more."""
        return 1 if self.attention else 0

    def to_dict(self) -> dict[str, Any]:
        """For JSON."""
        return asdict(self) | {"exit_code": self.exit_code}


def summarize(inputs: Inputs, seconds: float) -> Summary:
    """The summary of the store as it now stands."""
    con = connect(inputs.workspace.database, read_only=True)
    try:
        accounts = read_frame(con, "row_accounts")
        files = read_frame(con, "export_files", columns=["file", "is_whole"])
        feeds = read_frame(con, "feed_states")
        aside = read_frame(con, "set_aside", columns=["file", "rule", "reason"])
        checks = read_frame(con, "night_checks", columns=["check", "passed", "sentence"])
        needs_person = attention_of(inputs, con)
        verdicts = verdict_counts(con)
        changed = latest_changes(con)
    finally:
        con.close()
    whole = files.filter("is_whole")["file"].sort()
    beyond = feeds.filter("beyond_tolerance")["feed"].to_list()
    stale = feeds.filter("stale")["feed"].to_list()
    totals = accounts.select(pl.col("rows_read", "rows_split", *ENDS).sum()).row(0, named=True)
    attention = list(whole_files_in_words(whole.to_list(), aside).values())
    attention += [f"More rows of {feed} were set aside than the settings allow." for feed in beyond]
    attention += [
        f"The feed {row['feed']} is stale: complete to {row['through_date'] or 'no day'}."
        for row in feeds.filter("stale").iter_rows(named=True)
    ]
    attention += [f"{sentence} {way_out}" for sentence, way_out in archive_faults(inputs.workspace)]
    attention += needs_person
    unusual = pl.col("check").is_in(["claim_count", "laboratory_values"]) & ~pl.col("passed")
    return Summary(
        as_of=inputs.as_of,
        **totals,
        files=files.height,
        files_set_aside=whole.to_list(),
        set_aside_beyond_tolerance=beyond,
        stale_feeds=stale,
        claims=sum(count for count in verdicts.values()),
        verdicts=verdicts,
        changed_claims=changed,
        pages=str(Path(inputs.workspace.published) / "index.html"),
        seconds=round(seconds, 1),
        attention=attention,
        unusual=checks.filter(unusual)["sentence"].to_list(),
    )


Teller = Callable[[str], None]


def tell(summary: Summary, say: Teller) -> None:
    """The summary in sentences."""
    say(
        f"As of {summary.as_of}: {counted(summary.rows_read, 'row')} in "
        f"{counted(summary.files, 'file')}: {counted(summary.records, 'record')}, "
        f"{summary.superseded:,} superseded, {counted(summary.duplicates, 'duplicate')}, "
        f"{summary.set_aside:,} set aside"
        f"{ends_of_mappings(asdict(summary))}."
    )
    verdicts = ", ".join(f"{n:,} {name.replace('_', ' ')}" for name, n in summary.verdicts.items())
    say(f"{counted(summary.claims, 'claim')}: {verdicts or 'none'}.")
    for sentence in [*summary.attention, *summary.unusual]:
        say(sentence)
    say(f"Pages: {summary.pages}")
