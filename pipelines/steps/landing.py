"""Brings the store's landed and typed rows in step with the exports folder.

Belongs here: what is dropped from and added to the store. Does not belong here: reading files
(`ingest`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import duckdb
import polars as pl

from pipelines.records.corrections import CORRECTED
from pipelines.records.left_out import LEFT_OUT
from pipelines.records.settling import SET_ASIDE
from pipelines.steps.ingest import ReadFile, read_files, stored_rows, stored_schema
from pipelines.steps.read_part import LANDED, ReadPart
from pipelines.steps.step import Step, Written
from pipelines.store.contents import columns_of
from pipelines.store.database import (
    append_frame,
    drop_table,
    forget_files,
    read_frame,
    write_frame,
)
from pipelines.store.deliveries import EXPORT_FILES, FILE_PARTS, Delivered, delivered, news_of
from pipelines.store.transaction import RefreshSession
from pipelines.workspace.tool import READING
from schemas.codes import FEEDS

PARSED_SET_ASIDE = pl.Schema({"feed": pl.String(), **SET_ASIDE})
PARSED_LEFT_OUT = pl.Schema(
    {
        "feed": pl.String(),
        "mapping": pl.String(),
        "file": pl.String(),
        "sheet": pl.String(),
        **LEFT_OUT,
    }
)
# Which row of a file a person's correction was put into, by the number of its event.
CORRECTED_ROWS = pl.Schema(
    {
        "feed": pl.String(),
        "mapping": pl.String(),
        "file": pl.String(),
        "sheet": pl.String(),
        **CORRECTED,
    }
)
# What is kept by file beside its rows.
BY_FILE = {
    "parsed_corrected": CORRECTED_ROWS,
    "parsed_set_aside": PARSED_SET_ASIDE,
    "parsed_left_out": PARSED_LEFT_OUT,
    "file_parts": FILE_PARTS,
}
# Files are small and many, or few and large: rows are handed to the store in heaps of this size.
HEAP_ROWS = 500_000
LARGE_BYTES = 50_000_000


def landed_tables(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """Brings what was read of the exports in step with the folder; all of it, or nothing."""
    with session.transaction():
        news = land(session)[1]
        session.refuse_changed_inputs()
        session.put_states(STEP.tables)
    for name in STEP.tables:
        if name in wanted:
            yield Written(name, news if name == "export_files" else {})


def land(session: RefreshSession) -> tuple[pl.DataFrame, dict[str, int]]:
    """Reads every new or changed export into the store and forgets those that are gone.

    Returns:
        `export_files`, and how many files are new, changed and unchanged.
    """
    inputs, con = session.inputs, session.con
    if not session.can_continue(STEP.tables) or _has_other_columns(con):
        for name in STEP.tables:
            drop_table(con, name)
    known = read_frame(con, "export_files", schema=EXPORT_FILES)
    files = delivered(inputs)
    news = news_of(files, known)
    stale = set(known["file"]) - {path for path, change in news.items() if change == "unchanged"}
    for feed in FEEDS:
        forget_files(con, f"landed_{feed}", "file", stale)
        forget_files(con, f"parsed_{feed}", "source_file", stale)
    for name in BY_FILE:
        forget_files(con, name, "file", stale)
    for feed in FEEDS:
        append_frame(con, f"landed_{feed}", LANDED.to_frame())
        append_frame(con, f"parsed_{feed}", stored_schema(feed).to_frame())
    for name, schema in BY_FILE.items():
        append_frame(con, name, schema.to_frame())
    fresh = [file for file in files if news[file.export.path] != "unchanged"]
    facts = _add(session, fresh)
    kept = known.filter(~pl.col("file").is_in(list(stale)))
    export_files = pl.concat([kept, facts]).sort("feed", "file")
    write_frame(con, "export_files", export_files)
    return export_files, dict(Counter(news.values()))


def _has_other_columns(con: duckdb.DuckDBPyConnection) -> bool:
    """Whether an earlier version of the tool kept something else of files."""
    wanted = {
        "export_files": EXPORT_FILES,
        **BY_FILE,
        **{f"parsed_{feed}": stored_schema(feed) for feed in FEEDS},
    }
    return any(
        {name for name, _ in columns_of(con, table)} != set(schema.names())
        for table, schema in wanted.items()
    )


def _add(session: RefreshSession, fresh: list[Delivered]) -> pl.DataFrame:
    facts: list[dict[str, Any]] = []
    heap: list[ReadFile] = []
    for number, file in enumerate(_read_ahead(read_files(session.inputs, fresh)), 1):
        heap.append(replace(file, parts=[part.without_text() for part in file.parts]))
        facts.append(file.facts)
        del file  # it stands in the heap alone, and goes with it
        if sum(part.landed.height for one in heap for part in one.parts) >= HEAP_ROWS:
            _flush(session, heap)
            session.progress(f"  {number} of {len(fresh)} files read")
    _flush(session, heap)
    return pl.DataFrame(
        [{**dict.fromkeys(EXPORT_FILES.names()), **fact} for fact in facts], schema=EXPORT_FILES
    )


def _read_ahead(files: Iterator[ReadFile]) -> Iterator[ReadFile]:
    """The files in their order, the next one being read while one is handed to the store; not
    behind a large one, since two of them need not stand in memory together."""
    with ThreadPoolExecutor(max_workers=1) as pool:
        coming = pool.submit(next, files, None)
        while (file := coming.result()) is not None:
            is_large = file.facts["size_bytes"] >= LARGE_BYTES
            if not is_large:
                coming = pool.submit(next, files, None)
            yield file
            del file
            if is_large:
                coming = pool.submit(next, files, None)


def _flush(session: RefreshSession, heap: list[ReadFile]) -> None:
    """Hands what has been read to the store, and empties the heap."""
    con = session.con
    parts = [(one.facts["file"], part) for one in heap for part in one.parts]
    for feed in FEEDS:
        of_feed = [(file, part) for file, part in parts if part.feed == feed]
        landed = [part.landed for _, part in of_feed if part.landed.height]
        if landed:
            append_frame(con, f"landed_{feed}", pl.concat(landed))
        rows = stored_rows(feed, of_feed)
        if rows.height:
            append_frame(con, f"parsed_{feed}", rows)
    frames = {
        "parsed_set_aside": set_aside_of(parts),
        "parsed_left_out": left_out_of(parts),
        "parsed_corrected": _corrected_of(parts),
        "file_parts": facts_of(parts),
    }
    for name, frame in frames.items():
        if frame.height:
            append_frame(con, name, frame)
    heap.clear()


def set_aside_of(parts: Sequence[tuple[str, ReadPart]]) -> pl.DataFrame:
    """The reasons that reading and typing parts gave, with their feed and place."""
    reasons = [
        (file, part, rows)
        for file, part in parts
        for rows in (part.parsed.set_aside, part.parsed.besides)
    ]
    return _placed(reasons, PARSED_SET_ASIDE)


def left_out_of(parts: Sequence[tuple[str, ReadPart]]) -> pl.DataFrame:
    """The rows of parts that their mappings leave out, with feed, mapping and place."""
    return _placed([(file, part, part.parsed.left_out) for file, part in parts], PARSED_LEFT_OUT)


def _corrected_of(parts: Sequence[tuple[str, ReadPart]]) -> pl.DataFrame:
    return _placed([(file, part, part.parsed.corrected) for file, part in parts], CORRECTED_ROWS)


def facts_of(parts: Iterable[tuple[str, ReadPart]]) -> pl.DataFrame:
    """What is kept of parts, by `FILE_PARTS`."""
    return pl.DataFrame([part.facts(file) for file, part in parts], schema=FILE_PARTS)


def _placed(
    of_parts: Iterable[tuple[str, ReadPart, pl.DataFrame]], schema: pl.Schema
) -> pl.DataFrame:
    """Rows of parts, each of a file, with where they stand."""
    frames = [schema.to_frame()]
    for file, part, rows in of_parts:
        if rows.height:
            place = {
                "feed": part.feed,
                "mapping": part.mapping.file if part.mapping else "",
                "file": file,
                "sheet": part.sheet,
            }
            placed = rows.with_columns(pl.lit(value).alias(name) for name, value in place.items())
            frames.append(placed.select(schema.names()).cast(schema))
    return pl.concat(frames)


STEP = Step(
    name="landed_exports",
    group="exports",
    title="Exports: reading what is new",
    tables={
        "export_files": "One row is one file under exports/: its hash and its form.",
        **{
            f"landed_{feed}": f"One row is one row of a {feed} export as it came, with its place."
            for feed in FEEDS
        },
        **{
            f"parsed_{feed}": f"One row is one row of a {feed} export, typed, with its place."
            for feed in FEEDS
        },
        "parsed_set_aside": "One row is one reason of a row that could not be read or typed.",
        "parsed_left_out": "One row is one row or sheet that a mapping leaves out.",
        "parsed_corrected": "One row is one landed row and one correction that was put into it.",
        "file_parts": "One row is one file, or one sheet of a workbook, as one mapping reads it.",
    },
    sources=("exports", "mappings", "reference", "settings"),
    within=dict.fromkeys(
        [*(f"landed_{feed}" for feed in FEEDS), *(f"parsed_{feed}" for feed in FEEDS)],
        ("export_files",),
    ),
    work=landed_tables,
    rooms=READING,
    kinds=("csv", "duckdb"),
)
