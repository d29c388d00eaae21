"""What would load of one file under a mapping: accounts, problems, joins and the first records.

Belongs here: the same reading and accounting as a refresh, of one file alone. Does not belong here:
drafts (`drafting`), the whole workspace (`checking`). Nothing is written.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from pipelines.errors import UsageError, WorkspaceError
from pipelines.exports.delivery import ExportFile, find_exports
from pipelines.queries.workspace_codes import FeedRows
from pipelines.records.accounting import ENDS
from pipelines.records.mapping import Mapping, load_mapping
from pipelines.records.problems import problems
from pipelines.records.serving import Mappings
from pipelines.steps.ingest import (
    all_set_aside,
    row_accounts,
    settle,
    stored_rows,
)
from pipelines.steps.joined_parts import read_together
from pipelines.steps.joins import report_of
from pipelines.steps.landing import facts_of, set_aside_of
from pipelines.store.deliveries import Delivered
from pipelines.store.file_hashes import hash_of
from pipelines.store.inputs import Inputs
from schemas.codes import FEEDS
from schemas.feeds import record_schema

SHOWN = 5


@dataclass(frozen=True)
class Trial:
    """What became of the rows of one file."""

    accounts: list[dict[str, Any]]
    problems: list[dict[str, Any]]
    joins: list[dict[str, Any]]
    records: list[dict[str, Any]]

    @property
    def set_aside(self) -> int:
        """How many rows would be set aside."""
        return sum(line["set_aside"] for line in self.accounts)

    @property
    def exit_code(self) -> int:
        """1 where rows would be set aside, or the file as a whole."""
        return int(bool(self.set_aside) or bool(self.problems))

    def totals(self) -> dict[str, int]:
        """The sums over all sheets."""
        names = ("rows_read", "rows_split", *ENDS)
        return {name: sum(line[name] for line in self.accounts) for name in names}

    def to_dict(self) -> dict[str, Any]:
        """For JSON."""
        return dict(vars(self))


def given_mapping(path: str, folder: str, feed: str | None) -> Mapping:
    """The mapping in a file, which may also be named as it stands in the workspace's mappings/.

    Raises:
        UsageError: there is no such file.
        WorkspaceError: it has faults.
    """
    root = Path(folder)
    for file in (Path(path), root / path, root / "mappings" / path):
        if file.is_file():
            return load_mapping(file, None if feed is None else feed)
    raise UsageError(f"There is no mapping {path}; name a file, or leave it out to try the draft.")


def try_mappings(
    inputs: Inputs | None, rows: FeedRows | None, file: Path, shown: str, tried: Sequence[Mapping]
) -> Trial:
    """Reads a file under mappings, whatever files and days they are for.

    Args:
        inputs: the workspace, whose reference files and settings hold.
        rows: what else lies in the workspace.
        file: the file.
        shown: its path as people know it.
        tried: the mappings, at least one; several are for several sheets.

    Raises:
        WorkspaceError: there is no workspace that can be read.
    """
    if inputs is None or rows is None:
        raise WorkspaceError(
            "Nothing can be tried without a sound workspace, whose reference files and settings "
            "rows are read with; make one with `limeledger new FOLDER`, or mend its faults."
        )
    mappings = Mappings.of_workspace(tried, inputs.reference.aliases)
    serving: dict[str, list[Mapping]] = {}
    for mapping in mappings.all:
        serving.setdefault(mapping.feed, []).append(mapping)
    export = ExportFile(shown, file, tried[0].feed, None, file.stat().st_size)
    tried_file = Delivered(export, "", "", serving)
    together = read_together(inputs, [tried_file, *_joined_files(inputs, mappings, file)])
    read = [(shown, part) for part in together[shown]]
    set_aside = set_aside_of(read)
    parts = facts_of(read)
    accounted = {}
    for feed in serving:
        parsed = stored_rows(feed, [(path, part) for path, part in read if part.feed == feed])
        accounted[feed] = settle(inputs, feed, parsed, parts, set_aside)
    files = pl.DataFrame({"file": [shown], "sha256": [hash_of(file)]})
    accounts = row_accounts(files, parts, accounted)
    aside = all_set_aside(set_aside, accounted)
    whole = parts.filter("is_whole")["file"].unique().to_list()
    return Trial(
        accounts.to_dicts(),
        problems(aside, whole).to_dicts(),
        _joins(inputs, rows, {feed: one.records for feed, one in accounted.items()}, aside),
        _first_records({feed: one.records for feed, one in accounted.items()}),
    )


def _joined_files(inputs: Inputs, mappings: Mappings, file: Path) -> list[Delivered]:
    """The workspace's files that joins of the mappings name, but for the one that is tried."""
    exports = find_exports(inputs.workspace.root, FEEDS, mappings.names)
    joining = [(one, mappings.joining(one.path)) for one in exports]
    return [
        Delivered(one, "", "", {}, of_joins)
        for one, of_joins in joining
        if of_joins and one.absolute.resolve() != file.resolve()
    ]


def _joins(
    inputs: Inputs, rows: FeedRows, records: dict[str, pl.DataFrame], aside: pl.DataFrame
) -> list[dict[str, Any]]:
    """The lines of the join report that are about the file's feeds."""

    def columns_of(feed: str, columns: Sequence[str]) -> pl.DataFrame:
        if feed in records:
            return records[feed].select(columns)
        if "source_file" in columns:  # the naming side of feeds that are not tried
            return record_schema(feed).to_frame().select(columns)
        return rows.of(feed).select(columns)

    joins, _ = report_of(inputs, columns_of, aside)
    return joins.filter(pl.col("feed").is_in(list(records))).to_dicts()


def _first_records(records: dict[str, pl.DataFrame]) -> list[dict[str, Any]]:
    """The first records in the order of their lines."""
    shown: list[dict[str, Any]] = []
    for frame in records.values():
        shown += frame.sort("source_line").head(SHOWN - len(shown)).to_dicts()
    return shown
