"""From the exports folder to landed rows and records: only what is new or changed is read.

Belongs here: moving rows between the readers and the store. Does not belong here: which files
are there (`pipelines.store.deliveries`), how a file is read (`pipelines.exports`), typed or
accounted (`pipelines.records`).

Tables: `export_files` (file), `file_parts` (sheet as a mapping reads it), `landed_<feed>` (row as
it came), `parsed_<feed>` (row as typed), `parsed_set_aside` (reason), `parsed_left_out` (row),
`<feed>` (record), `row_fates` (row).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from collections.abc import Mapping as MappingOf
from dataclasses import dataclass
from typing import Any

import polars as pl

from pipelines.events.recorded import DeskRecord
from pipelines.records.accounting import ENDS, FILES, Accounted, Accounts, account, placed
from pipelines.records.cross_checks import References
from pipelines.records.feed_file import parsed_schema
from pipelines.records.long_layout import parsed_long_schema
from pipelines.records.mapping import Mapping
from pipelines.records.settling import SET_ASIDE
from pipelines.steps.file_parts import read_parts
from pipelines.steps.joined_parts import read_together
from pipelines.steps.read_part import ReadPart, typed_parts
from pipelines.store.deliveries import Delivered
from pipelines.store.inputs import Inputs

NOTHING = DeskRecord()
HEAP_ROWS = 200_000  # so many rows of small files wait as text until they are typed together


@dataclass(frozen=True)
class ReadFile:
    """One file as read and typed: what is known of it as a whole, and its parts."""

    facts: dict[str, Any]
    parts: list[ReadPart]


def read_files(inputs: Inputs, files: list[Delivered]) -> Iterator[ReadFile]:
    """Reads and types the files in their order, small ones of a mapping together."""
    together: dict[str, list[ReadPart]] = {}
    heap: list[tuple[Delivered, list[ReadPart]]] = []
    rows = 0
    for file in files:
        path = file.export.path
        if file.group and path not in together:
            together |= read_together(inputs, [one for one in files if one.group == file.group])
        parts = together.pop(path) if file.group else list(read_parts(inputs, file))
        heap.append((file, parts))
        rows += sum(part.parsed.rows_read for part in parts)
        del parts  # else a large file's text would stand beside the next one's
        if rows >= HEAP_ROWS:
            yield from _typed(inputs, heap)
            heap, rows = [], 0
    yield from _typed(inputs, heap)


def _typed(inputs: Inputs, heap: list[tuple[Delivered, list[ReadPart]]]) -> Iterator[ReadFile]:
    """The files of a heap with what is still text typed."""
    parts = [(file.export.path, part) for file, parts in heap for part in parts]
    typed = iter(typed_parts(inputs, parts))
    for file, parts_of_file in heap:
        yield _read_file(file, [next(typed) for _ in parts_of_file])


def _read_file(file: Delivered, parts: list[ReadPart]) -> ReadFile:
    """A file that is only joined to others is of no feed."""
    export = file.export
    first = next((part for part in parts if part.feed and not part.join), parts[0])
    part_facts = first.facts(export.path)
    facts = {
        "feed": "" if first.join else first.feed,
        "file": export.path,
        "sha256": file.sha256,
        "size_bytes": export.size,
        "read_by": file.read_by,
        "rows_read": sum(part.parsed.rows_read for part in parts),
        "is_whole": any(part.parsed.is_whole for part in parts),
        **{n: part_facts[n] for n in ("named_date", "encoding", "delimiter", "headers")},
    }
    return ReadFile(facts, parts)


def settle(
    inputs: Inputs, feed: str, parsed: pl.DataFrame, parts: pl.DataFrame, set_aside: pl.DataFrame
) -> Accounted:
    """Records and accounts of one feed from all rows typed so far, in one part.

    Args:
        parsed: `parsed_<feed>`.
        parts: `file_parts`.
        set_aside: `parsed_set_aside`.
    """
    return account(
        feed,
        parsed,
        parts.filter(pl.col("feed") == feed).select(FILES.names()),
        set_aside.filter(pl.col("feed") == feed).select(SET_ASIDE.names()),
        codes_of(inputs),
    )


def codes_of(inputs: Inputs) -> References:
    """The codes that rows may name."""
    reference = inputs.reference
    return References.of(reference.models, reference.treatments, reference.causes)


def stored_schema(feed: str) -> pl.Schema:
    """Columns and types of `parsed_<feed>`, whatever the layout of its files."""
    schema = dict(parsed_schema(feed, Mapping.plain(feed)))
    if feed == "water_tests":
        schema |= parsed_long_schema()
    schema.pop("raw")
    source = {"source_part": pl.Int64(), "source_file": pl.String(), "source_sheet": pl.String()}
    return pl.Schema(schema | source)


def stored_rows(feed: str, parts: Sequence[tuple[str, ReadPart]]) -> pl.DataFrame:
    """The sound rows of parts of a feed, each of a file with this path, by `stored_schema`."""
    schema = stored_schema(feed)
    full = [(file, part) for file, part in parts if part.parsed.rows.height]
    if not full:
        return schema.to_frame()
    rows = pl.concat(
        [placed(part.parsed.rows, file, part.sheet) for file, part in full], how="diagonal"
    )
    lacking = [pl.lit(None, kind).alias(n) for n, kind in schema.items() if n not in rows.columns]
    return (
        rows.with_columns(lacking)
        .with_columns(pl.col("source_part").fill_null(1))
        .select(schema.names())
    )


def row_accounts(
    files: pl.DataFrame, parts: pl.DataFrame, accounted: MappingOf[str, Accounts]
) -> pl.DataFrame:
    """The accounts of every file and sheet, also of those of no feed."""
    counted = [
        result.accounts.with_columns(feed=pl.lit(feed)) for feed, result in accounted.items()
    ]
    place_columns = ["file", "sheet", "mapping", "header_line"]
    counts = ["rows_read", "rows_split", *ENDS]
    placeless = parts.filter(pl.col("feed") == "").select(
        "feed",
        *place_columns,
        pl.lit(None, pl.Date).alias("through_date"),
        "rows_read",
        "rows_split",
        *(pl.lit(0, pl.Int64).alias(name) for name in ENDS if name != "set_aside"),
        pl.col("rows_read").alias("set_aside"),
    )
    columns = ["feed", *place_columns, "through_date", *counts]
    return (
        pl.concat([*(frame.select(columns) for frame in counted), placeless.select(columns)])
        .join(files.select("file", "sha256"), on="file", how="left")
        .select(
            "feed",
            "file",
            pl.col("sha256").replace("", None),
            "through_date",
            "rows_read",
            *ENDS[:4],
            "mapping",
            "sheet",
            "header_line",
            "rows_split",
            *ENDS[4:],
        )
        .with_columns(pl.col("feed", "mapping", "sheet").replace("", None))
        .sort("feed", "file", "sheet", "mapping", nulls_last=True)
    )


def unbalanced(accounts: pl.DataFrame) -> pl.DataFrame:
    """The lines of `row_accounts` whose rows do not all end in one of the ends; there are none."""
    ends = pl.sum_horizontal(ENDS)
    is_negative = pl.any_horizontal(pl.col(ENDS) < 0)
    return accounts.filter((ends != pl.col("rows_read") + pl.col("rows_split")) | is_negative)


def all_set_aside(
    set_aside: pl.DataFrame, accounted: MappingOf[str, Accounts], recorded: DeskRecord = NOTHING
) -> pl.DataFrame:
    """Every reason of every feed, and of the files of no feed, each with what settles its row."""
    settled = pl.DataFrame(
        [(*place, event) for place, event in recorded.settled.items()],
        schema={"feed": pl.String, "file": pl.String, "line": pl.Int64, "settled_by": pl.Int64},
        orient="row",
    )
    columns = ["feed", "file", "line", "column", "value", "rule", "reason", "sheet"]
    of_feeds = [
        result.set_aside.with_columns(feed=pl.lit(feed)).select(columns)
        for feed, result in accounted.items()
    ]
    placeless = set_aside.filter(pl.col("feed") == "").select(columns)
    return (
        pl.concat([*of_feeds, placeless])
        .join(settled, on=["feed", "file", "line"], how="left")
        .with_columns(pl.col("feed", "sheet", "column", "value").replace("", None))
        .sort("feed", "file", "sheet", "line", "column", "rule", nulls_last=True)
    )


def all_left_out(left_out: pl.DataFrame) -> pl.DataFrame:
    """Every row and sheet that a mapping leaves out, as published."""
    return (
        left_out.select("feed", "mapping", "file", "sheet", "line", "reason")
        .with_columns(pl.col("sheet").replace("", None))
        .sort("feed", "file", "sheet", "line", nulls_last=True)
    )
