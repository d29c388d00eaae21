"""Brings the store's landed and typed rows in step with the exports folder.

Belongs here: what is dropped from and added to the store. Does not belong here: reading files
(`ingest`).
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import polars as pl

from pipelines.records.accounting import SET_ASIDE
from pipelines.steps.ingest import (
    LANDED,
    ReadFile,
    read_files,
    stored_schema,
)
from pipelines.store.database import (
    append_frame,
    drop_table,
    forget_files,
    read_frame,
    write_frame,
)
from pipelines.store.deliveries import EXPORT_FILES, delivered, news_of
from pipelines.store.transaction import RefreshSession
from schemas.codes import FEEDS

PARSED_SET_ASIDE = pl.Schema({"feed": pl.String, **SET_ASIDE})
# Files are small and many, or few and large: rows are handed to the store in heaps of this size.
HEAP_ROWS = 500_000


def land(session: RefreshSession) -> pl.DataFrame:
    """Reads every new or changed export into the store and forgets those that are gone.

    Returns:
        `export_files`, with what is new about each.
    """
    inputs, con = session.inputs, session.con
    known = read_frame(con, "export_files", schema=EXPORT_FILES)
    files = delivered(inputs)
    news = news_of(files, known)
    stale = set(known["file"]) - {path for path, told in news.items() if told == "unchanged"}
    for feed in FEEDS:
        old = known.filter(pl.col("feed") == feed)
        if not old.is_empty() and stale >= set(old["file"]):
            # Nothing of it stays, and its columns may have changed with the mapping's layout.
            drop_table(con, f"parsed.{feed}")
        forget_files(con, f"landed_{feed}", "file", stale)
        forget_files(con, f"parsed.{feed}", "source_file", stale)
    forget_files(con, "parsed.set_aside", "file", stale)
    for feed in FEEDS:
        append_frame(con, f"landed_{feed}", LANDED.to_frame())
        append_frame(con, f"parsed.{feed}", stored_schema(inputs, feed).to_frame())
    append_frame(con, "parsed.set_aside", PARSED_SET_ASIDE.to_frame())
    fresh = [file for file in files if news[file.found.path] != "unchanged"]
    session.changed_feeds = {file.found.feed for file in fresh if file.found.feed} | set(
        known.filter(pl.col("file").is_in(list(stale)))["feed"]
    )
    facts = _add(session, fresh)
    kept = known.filter(~pl.col("file").is_in(list(stale)))
    told = pl.concat([kept, facts]).with_columns(
        news=pl.col("file").replace_strict(news, return_dtype=pl.String)
    )
    told = told.sort("feed", "file")
    write_frame(con, "export_files", told)
    return told


def _add(session: RefreshSession, fresh: list) -> pl.DataFrame:
    facts: list[dict] = []
    heap: list[ReadFile] = []
    for number, file in enumerate(_read_ahead(read_files(session.inputs, fresh)), 1):
        heap.append(file)
        facts.append(file.facts)
        if sum(one.landed.height for one in heap) >= HEAP_ROWS:
            _flush(session, heap)
            session.progress(f"  {number} of {len(fresh)} files read")
    _flush(session, heap)
    return pl.DataFrame(
        [{**dict.fromkeys(EXPORT_FILES.names()), **fact} for fact in facts], schema=EXPORT_FILES
    )


def _read_ahead(files: Iterator[ReadFile]) -> Iterator[ReadFile]:
    """The files in their order, the next one being read while one is handed to the store."""
    with ThreadPoolExecutor(max_workers=1) as pool:
        coming = pool.submit(next, files, None)
        while (file := coming.result()) is not None:
            coming = pool.submit(next, files, None)
            yield file


def _flush(session: RefreshSession, heap: list[ReadFile]) -> None:
    """Hands what has been read to the store, and empties the heap."""
    con = session.con
    for feed in FEEDS:
        of_feed = [one for one in heap if one.facts["feed"] == feed]
        landed = [one.landed for one in of_feed if one.landed.height]
        if landed:
            append_frame(con, f"landed_{feed}", pl.concat(landed))
        rows = [
            one.parsed.rows.drop("raw").with_columns(source_file=pl.lit(one.facts["file"]))
            for one in of_feed
            if one.parsed.rows.height
        ]
        if rows:
            append_frame(con, f"parsed.{feed}", pl.concat(rows))
    told = [told_of(one) for one in heap if one.parsed.set_aside.height]
    if told:
        append_frame(con, "parsed.set_aside", pl.concat(told))
    heap.clear()


def told_of(one: ReadFile) -> pl.DataFrame:
    """The reasons that reading and typing one file gave, with its feed and name."""
    return (
        pl.concat([one.parsed.set_aside, one.parsed.besides])
        .with_columns(feed=pl.lit(one.facts["feed"]), file=pl.lit(one.facts["file"]))
        .select(PARSED_SET_ASIDE.names())
        .cast(dict(PARSED_SET_ASIDE))
    )
