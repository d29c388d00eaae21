"""Puts down what this publication adds to the archive: the tables that keep every decision.

Belongs here: reading what they need and calling what finds the changes. Does not belong here: the
SQL that does (`pipelines.store.archive.tables`), or the files (`pipelines.store.archive.files`).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterator

import polars as pl

from pipelines.coverage.history import fingerprints
from pipelines.errors import WorkspaceError
from pipelines.steps.step import Step, Written
from pipelines.store.archive.kept_files import KeptFile, archive_kept_files
from pipelines.store.archive.rows import archive_arrivals
from pipelines.store.archive.tables import (
    add_publication,
    archive_decisions,
    begin,
    exports_files,
    next_publication,
    put_fingerprints,
)
from pipelines.store.claim_reads import history_fingerprints
from pipelines.store.database import read_frame
from pipelines.store.evidence import evidence_around
from pipelines.store.inputs import input_files, read_input
from pipelines.store.lookups import rows_of
from pipelines.store.states import recorded_files
from pipelines.store.transaction import RefreshSession
from pipelines.workspace import clock
from pipelines.workspace.settings import today
from schemas.archive import ARCHIVE_TABLES, KINDS, LISTING
from schemas.codes import FEEDS


def archive_tables(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """Writes all four tables, in one transaction."""
    con, number, day = session.con, next_publication(session.con), today(session.inputs.settings)
    begin(con)
    for added in archive_decisions(con, number, session.inputs.as_of):
        put_fingerprints(con, number, _fingerprints(session, added))
    archive_arrivals(con, day)
    archive_kept_files(con, kept_files(session))
    through = read_frame(con, "feed_states", columns=["feed", "through_date"]).sort("feed")
    add_publication(
        con,
        {
            "publication": number,
            "run": session.run,
            "published_at": clock.now().replace(tzinfo=None),
            "clock": clock.clock(),
            "as_of": session.state.as_of,
            "state": session.state.state,
            **session.state.of_inputs(),
            "tool_version": session.state.tool_version,
            "tool": session.state.tool,
            "through_dates": through.to_dicts(),
            "exports_files": exports_files(con, day).to_dicts(),
        },
    )
    with session.transaction():
        session.put_states(list(ARCHIVE_TABLES))
    yield from (Written(name) for name in ARCHIVE_TABLES if name in wanted)


def _fingerprints(session: RefreshSession, added: pl.DataFrame) -> pl.DataFrame:
    """The fingerprints (claim, fingerprint) of rows that have none yet.

    Those of a claim that this run put into the history stand there; others are worked out.
    """
    lacking = added.filter(pl.col("fingerprint").is_null())
    if lacking.is_empty():
        return lacking.select("claim", "fingerprint")
    in_history = history_fingerprints(session.con, next_publication(session.con))
    known = lacking.select("claim").join(in_history, on="claim")
    left = lacking.join(known, on="claim", how="anti")
    if left.is_empty():
        return known
    findings = rows_of(session.con, "findings", left["claim"])
    evidence = evidence_around(session.inputs, session.con, left["serial"].unique())
    return pl.concat([known, fingerprints(left["claim"], findings, evidence)])


def kept_files(session: RefreshSession) -> list[KeptFile]:
    """Every file of terms, reference, mappings, settings and recordings, and a listing a kind.

    The listing, a JSON list of paths and hashes, has the digest by which a publication names its
    kind: so the files of any publication are found from its row alone.

    Raises:
        WorkspaceError: a file is no longer what the run has read.
    """
    workspace = session.inputs.workspace
    files: list[KeptFile] = []
    input_paths = input_files(workspace, session.inputs.settings)
    by_name = {
        kind: [(path.relative_to(workspace.root).as_posix(), path) for path in paths]
        for kind, paths in input_paths.items()
    }
    read = {
        kind: [(name, read_input(workspace, path)) for name, path in paths]
        for kind, paths in by_name.items()
    }
    read["recorded"] = recorded_files(session.inputs)
    for kind, contents in read.items():
        listed = []
        for name, content in contents:
            digest = hashlib.sha256(content).hexdigest()
            listed.append([name, digest])
            files.append(KeptFile(KINDS[kind], name, digest, content))
        listing = json.dumps(listed, sort_keys=True).encode()
        digest = hashlib.sha256(listing).hexdigest()
        if digest != getattr(session.state, kind):
            raise WorkspaceError(
                f"While the run was at work, its {kind} changed; nothing was published. Run it "
                "again: it then reads what lies there now."
            )
        files.append(KeptFile(KINDS[kind], LISTING, digest, listing))
    return files


STEP = Step(
    name="archive",
    group="publication",
    title="Archive of decisions",
    tables={
        "publications": "One row is one publication: of which inputs, when, and by which tool.",
        "decision_archive": "One row is a claim as a publication changed it; it holds until the "
        "claim's next.",
        "archived_rows": "One row is the content of a record that a decision rested on, or that "
        "left.",
        "archived_files": "One row is a file of terms, reference, mappings, settings or "
        "recordings, by its content.",
    },
    reads=("decisions", "findings", "decision_history", "export_files", "feed_states", *FEEDS),
    sources=("mappings", "reference", "terms", "settings"),
    work=archive_tables,
    rooms=(
        "pipelines/steps/archive.py",
        "pipelines/store/archive",
        "pipelines/store/considered.py",
        "pipelines/store/row_hashes.py",
        "schemas/archive.py",
    ),
)
