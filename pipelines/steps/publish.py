"""Stages everything that people read: table files and pages, then swaps them in.

Belongs here: what is published, and the manifest. Does not belong here: how tables are written
(`pipelines.store.publication`) or pages drawn (`dashboards`).
"""

from __future__ import annotations

import contextlib
import datetime as dt
import gc
import hashlib
import json
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from dashboards.letters import TemplateFault
from dashboards.site import LIBRARY, SPECIFICATIONS, build_site
from pipelines.errors import StorageError, WorkspaceError
from pipelines.steps.granted import put_grants
from pipelines.steps.hidden_tables import hidden_tables
from pipelines.steps.letter_register import bring_up_to
from pipelines.steps.paged_claims import stored_claims_with_pages
from pipelines.steps.pages import page_data
from pipelines.steps.step import Step, Written
from pipelines.store.archive.files import write_files
from pipelines.store.archive.tables import stamp
from pipelines.store.claim_reads import newest_change
from pipelines.store.descriptions import (
    DATA_DICTIONARY,
    check_keys,
    comment_on_all,
    data_dictionary,
)
from pipelines.store.help_files import renew_help
from pipelines.store.publication import take_file
from pipelines.store.published_state import (
    STORE_STATE,
    PublishedState,
    published_manifest,
    write_manifest,
)
from pipelines.store.states import count_states
from pipelines.store.table_files import WrittenTable, write_table_files
from pipelines.store.transaction import RefreshSession
from pipelines.store.views import make_views
from pipelines.workspace.tool import source_hash
from schemas.catalog import PUBLISHED
from schemas.data_package import package_of_tables
from schemas.states import StoreState
from schemas.store import DataDictionary
from schemas.versions import changes_markdown


def publish(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """Stages tables and pages, and puts the new store and pages in the old ones' place."""
    published = session.publication(newest_change(session.con))
    stamp(session.con, published.publication, published.run, published.published_at)
    session.put_publication(published)
    _describe(session)
    staged = stage(session, published)
    write_manifest(session.staging, published.manifest() | {"charts": _charts(session.staging)})
    session.refuse_changed_inputs()  # before the archive is touched, and again before the swap
    write_files(session.con, session.inputs.workspace, published.publication)
    session.commit()
    with contextlib.suppress(StorageError):  # help that cannot be written stops nobody
        renew_help(session.inputs.workspace.root)
    bring_up_to(session.inputs.workspace, session.readable())
    facts: dict[str, dict[str, Any]] = {
        STORE_STATE: {"publication": published.publication},
        DATA_DICTIONARY: {},
        "published_data": {"tables": staged.tables},
        "published_pages": {
            "claim_pages": staged.claim_pages,
            "pages": session.inputs.workspace.published / "index.html",
        },
    }
    yield from (Written(name, more) for name, more in facts.items() if name in wanted)


def _describe(session: RefreshSession) -> None:
    """Makes the views, holds the keys, and says in the store what its tables and columns are."""
    put_grants(session)
    make_views(session.con, session.inputs.as_of)
    check_keys(session.con)
    frame = data_dictionary(session.con)
    session.put(session.write(DATA_DICTIONARY, frame, DataDictionary))
    with session.transaction() as con:
        count_states(con)
    comment_on_all(session.con)


@dataclass(frozen=True)
class Staged:
    """How many tables and claim pages stand in the staging folder."""

    tables: int
    claim_pages: int


@contextlib.contextmanager
def _older_objects_left_alone() -> Iterator[None]:
    """Garbage is looked for among new objects only: pages are so many that all others would be
    looked through again and again, which took a tenth of the time of making them."""
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()


@_older_objects_left_alone()
def stage(session: RefreshSession, published: PublishedState) -> Staged:
    """Writes tables and pages beside each other: DuckDB is busy with the ones, Python with the
    others."""
    data = session.staging / "data"
    hidden = hidden_tables(session)
    with closing(session.con.cursor()) as con, ThreadPoolExecutor(max_workers=1) as writer:
        tables = writer.submit(_write_tables, session, con, data, hidden)

        def files() -> list[str]:
            tables.result()
            return sorted(path.name for path in data.iterdir())

        claim_pages = _write_pages(session, published, files)
        written = tables.result()
        _write_descriptions(session, published, data, written)
        return Staged(len(written), claim_pages)


def _write_tables(
    session: RefreshSession,
    con: duckdb.DuckDBPyConnection,
    folder: Path,
    hidden: Mapping[str, pl.DataFrame],
) -> dict[str, WrittenTable]:
    """Writes each table that the store holds as Parquet and CSV."""
    last = _last_of_ours(session)
    return write_table_files(
        con,
        PUBLISHED,
        folder,
        hidden,
        last and last / "data",
        csv_max_rows=session.inputs.settings.csv_max_rows,
    )


def _last_of_ours(session: RefreshSession) -> Path | None:
    """The last published folder, where this same tool made it."""
    published = session.inputs.workspace.published
    is_ours = published_manifest(published).get("tool") == source_hash()
    return published if is_ours else None


def _write_descriptions(
    session: RefreshSession,
    published: PublishedState,
    folder: Path,
    written: Mapping[str, WrittenTable],
) -> None:
    """Lays beside the tables what they are, for machines, and how they changed, for people."""
    inputs = session.inputs
    package = package_of_tables(
        {name: (table.columns, table.has_csv) for name, table in written.items()},
        created=published.published_at.replace(tzinfo=dt.UTC).isoformat(timespec="seconds"),
        facts={"state": published.state, "as_of": inputs.as_of.isoformat()},
        hide=inputs.settings.hide,
    )
    text = json.dumps(package, indent=1, ensure_ascii=False)
    (folder / "datapackage.json").write_text(text + "\n", encoding="utf-8")
    (folder / "CHANGES.md").write_text(changes_markdown(), encoding="utf-8")


def _write_pages(
    session: RefreshSession, published: PublishedState, files: Callable[[], list[str]]
) -> int:
    """Writes all pages; returns the number of claim pages. `files` waits for the tables."""
    claims = stored_claims_with_pages(session.inputs, session.con)
    data = page_data(session, claims, published.decided_at or published.published_at)
    _take_charts(session)
    try:
        build_site(data, session.staging, claims.to_list(), files, _last_of_ours(session))
    except TemplateFault as fault:
        raise WorkspaceError(str(fault)) from None
    return claims.len()


def _take_charts(session: RefreshSession) -> None:
    """Lays what the last pages' charts share into the new ones, where it would be the same."""
    published = session.inputs.workspace.published
    manifest = published_manifest(published)
    now = {
        "inputs": session.inputs.fingerprint,
        "tool": source_hash(),
        "charts": _charts(published),
    }
    if all(manifest.get(name) == value for name, value in now.items()):
        for name in (LIBRARY, SPECIFICATIONS):
            take_file(published / "assets" / name, session.staging / "assets" / name)


def _charts(pages: Path) -> str:
    """The libraries that draw charts, with a hash of what the charts of these pages share."""
    libraries = [f"{name} {version(name)}" for name in ("altair", "vl-convert-python")]
    digest = hashlib.sha256()
    for name in (LIBRARY, SPECIFICATIONS):
        file = pages / "assets" / name
        digest.update(hashlib.sha256(file.read_bytes() if file.is_file() else b"").digest())
    return ", ".join([*libraries, digest.hexdigest()])


def publication_step(tables: Sequence[str]) -> Step:
    """The last step, which reads all tables of the store."""
    return Step(
        name="publication",
        group="publication",
        title="Tables and pages for people",
        tables={
            STORE_STATE: StoreState,
            DATA_DICTIONARY: DataDictionary,
            "published_data": "One file is one table of the store, as Parquet and as CSV.",
            "published_pages": "One file is one page; the folder is swapped whole.",
        },
        reads=tuple(tables),
        sources=("settings",),
        within={
            DATA_DICTIONARY: (STORE_STATE,),
            "published_data": (DATA_DICTIONARY,),
            "published_pages": ("published_data",),
        },
        work=publish,
        rooms=("dashboards", "pipelines/steps", "pipelines/store"),
        about=dict.fromkeys(
            (STORE_STATE, DATA_DICTIONARY, "published_data", "published_pages"),
            "Each of the four stands for all: store and pages are put in place together.",
        ),
        kinds=("html", "parquet", "csv"),
        publishes=True,
    )
