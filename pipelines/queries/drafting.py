"""Drafts of mappings for one file, judged with what a workspace knows.

Belongs here: reading the file and the workspace. Does not belong here: judging
(`pipelines.assist.drafts`), what would load (`trying`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipelines.assist.drafts.drafting import Drafted, Source, beside, draft_file
from pipelines.assist.drafts.files import found_tables
from pipelines.assist.drafts.known import Known
from pipelines.assist.drafts.proposed_joins import Beside
from pipelines.errors import NotFoundError, UsageError, WorkspaceError
from pipelines.exports.delivery import feed_of_path
from pipelines.exports.limits import Limits
from pipelines.queries.workspace_codes import FeedRows, known_codes
from pipelines.steps.file_parts import limits_of
from pipelines.store.inputs import Inputs, load_inputs
from pipelines.workspace.layout import SETTINGS_FILE, find
from schemas.codes import FEEDS

# What is looked at for rows that belong to the file's.
MOST_BESIDE, MOST_BYTES = 10, 5_000_000


@dataclass(frozen=True)
class FileDrafts:
    """The drafts of a file, and the workspace that they were judged with, where there is one."""

    path: Path
    source: Source
    drafted: Drafted
    inputs: Inputs | None
    rows: FeedRows | None

    def to_dict(self) -> dict[str, Any]:
        """For JSON."""
        drafts = [draft.to_dict() for draft in self.drafted.drafts]
        return {
            "file": str(self.path),
            "feed": drafts[0]["feed"],
            "feeds": [[feed, score] for feed, score in self.drafted.feeds],
            "drafts": drafts,
            "mapping": drafts[0]["toml"],
        }


def drafts_of(
    file: str, folder: str, feed: str | None, sheet: str | None, progress: Callable[[str], None]
) -> FileDrafts:
    """Drafts for a file, which may lie anywhere.

    Raises:
        NotFoundError: there is no such file.
        UsageError: the feed or the sheet is none, or the file cannot be read.
    """
    if feed is not None and feed not in FEEDS:
        raise UsageError(f'"{feed}" is no feed; choose one of {", ".join(FEEDS)}.')
    root = Path(folder)
    path = _file(file, root)
    inputs = _inputs(root, progress)
    rows = None if inputs is None else FeedRows(inputs)
    known = Known() if inputs is None or rows is None else known_codes(inputs.reference, rows)
    limits = Limits() if inputs is None else limits_of(inputs.settings)
    source = _source(path, inputs)
    tables = found_tables(path, limits, sheet)
    drafted = draft_file(source, tables, known, feed, _beside(source, inputs, limits))
    return FileDrafts(path, source, drafted, inputs, rows)


def _file(file: str, root: Path) -> Path:
    """The file as named, or below the workspace or its exports/."""
    for path in (Path(file), root / file, root / "exports" / file):
        if path.is_file():
            return path
    raise NotFoundError(f"There is no file {file}; name an export to draft a mapping for.")


def _inputs(root: Path, progress: Callable[[str], None]) -> Inputs | None:
    """The workspace; None where there is none, or where it has faults, which are told."""
    if not root.is_dir() or not find(root, SETTINGS_FILE).is_file():
        progress(f"{root} is no workspace, so nothing is known of serials and codes.")
        return None
    try:
        return load_inputs(root)
    except WorkspaceError as error:
        progress(f"Drafted without the register and the reference files, since: {error}")
        return None


def _beside(source: Source, inputs: Inputs | None, limits: Limits) -> list[Beside]:
    """The exports beside the file that nothing names yet: small text files, a few of them."""
    if inputs is None or source.below is None:
        return []
    others: list[Beside] = []
    root = inputs.workspace.exports
    paths = sorted(path for path in root.rglob("*.[cC][sS][vV]") if path.is_file())
    for path in paths:
        below = path.relative_to(root).as_posix()
        is_named = feed_of_path(below, FEEDS) is not None or inputs.mappings.names(below)
        if below == source.below or is_named or path.stat().st_size > MOST_BYTES:
            continue
        try:
            others += beside(below, found_tables(path, limits))
        except UsageError:
            continue  # it is told when it is drafted itself
        if len(others) >= MOST_BESIDE:
            break
    return others


def _source(path: Path, inputs: Inputs | None) -> Source:
    if inputs is not None:
        exports = inputs.workspace.exports.resolve()
        resolved = path.resolve()
        if resolved.is_relative_to(exports):
            below = resolved.relative_to(exports).as_posix()
            return Source(path.name, below, feed_of_path(below, FEEDS))
    return Source(path.name)
