"""Which files lie in the exports folder, and which of them the store does not know yet.

Belongs here: a file's hash, what its reading depends on, and what is new of it. Does not belong
here: reading it (`pipelines.steps.ingest`).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import polars as pl

from pipelines.exports.delivery import ExportFile, find_exports
from pipelines.records.mapping import Mapping
from pipelines.store.file_hashes import hash_of
from pipelines.store.inputs import Inputs
from pipelines.workspace.tool import READING, source_hash
from schemas.codes import DESK_FILE, FEEDS

EXPORT_FILES = pl.Schema(
    {
        "feed": pl.String(),
        "file": pl.String(),
        "sha256": pl.String(),
        "size_bytes": pl.Int64(),
        "read_by": pl.String(),
        "named_date": pl.Date(),
        "rows_read": pl.Int64(),
        "is_whole": pl.Boolean(),
        "encoding": pl.String(),
        "delimiter": pl.String(),
        "headers": pl.List(pl.String),
    }
)
# One row is one file, or one sheet of a workbook, as one mapping reads it.
FILE_PARTS = pl.Schema(
    {
        "feed": pl.String(),
        "mapping": pl.String(),
        "file": pl.String(),
        "sheet": pl.String(),
        "place": pl.Int64(),
        "named_date": pl.Date(),
        "header_line": pl.Int64(),
        "rows_read": pl.Int64(),
        "rows_split": pl.Int64(),
        "left_out": pl.Int64(),
        "joined_as": pl.String(),
        "joined": pl.Int64(),
        "duplicates": pl.Int64(),
        "is_whole": pl.Boolean(),
        "encoding": pl.String(),
        "delimiter": pl.String(),
        "headers": pl.List(pl.String),
    }
)


@dataclass(frozen=True)
class Delivered:
    """One file that arrived: where it is, its hash, and by which mappings it is read for a feed.

    `joining` has the mappings that join it to others, with the number of the join. Files that are
    read together, since a join needs both, have the same `group`; it is empty for all others.
    """

    export: ExportFile
    sha256: str
    read_by: str
    serving: dict[str, list[Mapping]]
    joining: list[tuple[Mapping, int]] = field(default_factory=list)
    group: str = ""


def delivered(inputs: Inputs) -> list[Delivered]:
    """Every file under exports/, and as one more what people recorded at the desk."""
    files = find_exports(inputs.workspace.root, FEEDS, inputs.mappings.names)
    deliveries = [_delivered(inputs, file) for file in files]
    feeds = [feed for feed in FEEDS if inputs.recorded.rows(feed)]
    return [*_grouped(deliveries), *([_of_desk(inputs, feeds)] if feeds else [])]


def _of_desk(inputs: Inputs, feeds: list[str]) -> Delivered:
    """What people recorded: in the feeds' own form, whatever the company's mappings say."""
    serving = {feed: [Mapping.plain(feed)] for feed in feeds}
    rows = {feed: [(line, dict(row)) for line, row in inputs.recorded.rows(feed)] for feed in feeds}
    plain = [mapping for mappings in serving.values() for mapping in mappings]
    file = ExportFile(DESK_FILE, inputs.workspace.desk, feeds[0], None, 0)
    return Delivered(file, _digest(rows), _read_by(inputs, file, plain), serving)


def _digest(content: object) -> str:
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()


def _grouped(files: list[Delivered]) -> list[Delivered]:
    """The files, those that joins bring together as groups.

    What a file says depends on every file of its group, so all are read when one changes.
    """
    names = [_joined_by(file) for file in files]
    of_mapping: dict[str, str] = {}  # a mapping to the first one that shares a file with it

    def root(name: str) -> str:
        while (above := of_mapping.setdefault(name, name)) != name:
            name = above
        return name

    for shared in names:
        for name in shared:
            of_mapping[root(name)] = root(shared[0])
    groups: dict[str, list[list[str]]] = {}
    for file, shared in zip(files, names, strict=True):
        if shared:
            refusal = file.export.refusal[0] if file.export.refusal else ""
            groups.setdefault(root(shared[0]), []).append([file.export.path, file.sha256, refusal])
    digests = {
        group: hashlib.sha256(json.dumps(members).encode()).hexdigest()
        for group, members in groups.items()
    }
    return [
        replace(file, group=root(shared[0]), read_by=f"{file.read_by}/{digests[root(shared[0])]}")
        if shared
        else file
        for file, shared in zip(files, names, strict=True)
    ]


def _joined_by(file: Delivered) -> list[str]:
    """The mappings with joins that read a file, in either role."""
    serving = [one for mappings in file.serving.values() for one in mappings if one.joins]
    return sorted({one.name for one in [*serving, *(one for one, _ in file.joining)]})


def _delivered(inputs: Inputs, file: ExportFile) -> Delivered:
    serving = inputs.mappings.serving(file.path, file.feed)
    joining = inputs.mappings.joining(file.path)
    if not serving and not joining and file.refusal is None:
        # A mapping names it, but none holds on its day.
        sentence = (
            f"{file.path} is named by mappings that hold for days of which its name tells none; "
            "correct valid_from or valid_until in one of them, or the day in its name."
        )
        file = replace(file, refusal=("no_feed", sentence))
    sha256 = hash_of(file.absolute) if _is_read(file) else ""
    mappings = [*(one for several in serving.values() for one in several), *(m for m, _ in joining)]
    return Delivered(file, sha256, _read_by(inputs, file, mappings), serving, joining)


def _is_read(file: ExportFile) -> bool:
    """Whether a file is opened: also one of no feed, to count its rows."""
    return file.refusal is None or file.refusal[0] == "no_feed"


def _read_by(inputs: Inputs, file: ExportFile, mappings: list[Mapping]) -> str:
    """What the reading of a file depends on beside its bytes."""
    settings = inputs.settings
    parts = (
        source_hash(READING),
        *(mapping.fingerprint for mapping in mappings),
        settings.timezone,
        settings.max_file_mb,
        settings.max_field_chars,
        settings.max_columns,
        settings.max_cells,
        settings.max_workbook_mb,
        settings.max_workbook_seconds,
        *(file.refusal or ("",)),  # what it is told of a mapping may change while the rule stays
        _corrected(inputs, {mapping.feed for mapping in mappings}),
    )
    return "/".join(map(str, parts))


def _corrected(inputs: Inputs, feeds: Iterable[str]) -> str:
    """What stands for the corrections of some feeds; empty where there are none."""
    made = [
        [one.event, dict(one.content), dict(one.values)]
        for feed in sorted(feeds)
        for one in inputs.recorded.corrections(feed)
    ]
    return _digest(made) if made else ""


def news_of(files: list[Delivered], known: pl.DataFrame) -> dict[str, str]:
    """For each file: new, changed (in bytes, or in how it is read) or unchanged."""
    before = dict(
        zip(known["file"], zip(known["sha256"], known["read_by"], strict=True), strict=True)
    )
    return {
        file.export.path: "new"
        if file.export.path not in before
        else "unchanged"
        if before[file.export.path] == (file.sha256, file.read_by)
        else "changed"
        for file in files
    }
