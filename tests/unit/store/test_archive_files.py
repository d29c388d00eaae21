"""What the archive knows of its own files, and a store that cannot be had for the moment."""

from __future__ import annotations

import datetime as dt
import subprocess
import sys
from pathlib import Path
from zoneinfo import ZoneInfo

import duckdb
import polars as pl
import pytest

from pipelines.errors import NotFoundError, StorageError, WorkspaceError
from pipelines.nightly.health.archive_checks import archive_findings
from pipelines.store.archive import reading
from pipelines.store.archive.chain import BEFORE_THE_FIRST, Line, append_lines
from pipelines.store.archive.files import file_name, write_files
from pipelines.store.archive.recovery import is_sound, loss, recover, was_published
from pipelines.store.archive.seals import SEAL_COLUMNS, SEALS, keeps_no_archive, unsealed_files
from pipelines.store.database import append_frame, write_frame
from pipelines.store.reading import open_store
from pipelines.workspace.layout import Workspace
from schemas.archive import ARCHIVE_TABLES

LINE = Line(1, "publications-000001.parquet", "0" * 64, 1, BEFORE_THE_FIRST)


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    """A store of one publication, which its archive has."""
    (tmp_path / "store" / "archive").mkdir(parents=True)
    (tmp_path / "exports").mkdir()
    (tmp_path / "limeledger.toml").touch()
    workspace = Workspace.open(tmp_path)
    with duckdb.connect(str(workspace.database)) as con:
        con.execute("create schema archive")
        row = [getattr(LINE, name) for name in SEAL_COLUMNS]
        append_frame(con, SEALS, pl.DataFrame([row], schema=SEAL_COLUMNS, orient="row"))
    append_lines(workspace.store / "archive", [LINE])
    (workspace.store / "archive" / LINE.file).touch()
    return workspace


def test_a_file_that_no_line_names_is_left_over(workspace: Workspace) -> None:
    """Of a publication that stopped before its swap."""
    left = workspace.store / "archive" / "decision_archive-000002.parquet"
    assert unsealed_files(workspace) == []
    left.touch()
    assert unsealed_files(workspace) == [left]


def test_nothing_is_left_over_where_index_and_store_do_not_agree(workspace: Workspace) -> None:
    """What the index lacks may be all that is left of a publication."""
    (workspace.store / "archive" / "decision_archive-000002.parquet").touch()
    (workspace.store / "archive" / "index.jsonl").write_text("", "utf-8")
    assert unsealed_files(workspace) == []


def test_only_a_store_without_seals_and_lines_kept_no_archive(workspace: Workspace) -> None:
    """One whose index is gone has kept one."""
    assert not keeps_no_archive(workspace)
    (workspace.store / "archive" / "index.jsonl").unlink()
    assert not keeps_no_archive(workspace)
    with duckdb.connect(str(workspace.database)) as con:
        con.execute(f"drop table {SEALS}")
    assert keeps_no_archive(workspace)
    workspace.database.unlink()
    assert not keeps_no_archive(workspace)


def test_a_store_that_another_program_holds_is_not_damaged(workspace: Workspace) -> None:
    """It is neither put together anew nor moved away: the sentence says what to close."""
    code = (
        "import duckdb, sys, time; con = duckdb.connect(sys.argv[1]); print('held', flush=True); "
        "time.sleep(60)"
    )
    command = [sys.executable, "-c", code, str(workspace.database)]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        with pytest.raises(StorageError) as caught:
            is_sound(workspace)
        holder.kill()
    assert "another program holds it open" in str(caught.value)
    assert is_sound(workspace)
    workspace.database.write_bytes(b"no store")
    assert not is_sound(workspace)


def test_an_index_that_is_gone_loses_what_its_files_held(workspace: Workspace) -> None:
    """Without store and index nothing proves the files: their publications are named, and kept."""
    workspace.database.write_bytes(b"no database" * 500)
    assert loss(workspace).publications == (1,)  # its file is not what the index says
    (workspace.store / "archive" / "index.jsonl").unlink()
    lost = recover(workspace)
    assert lost is not None
    assert lost.publications == (1,)
    assert "What publication 1 decided would be lost" in lost.advice(workspace)
    assert not (workspace.store / "archive").exists()
    assert (workspace.store / "archive.unlisted-1" / LINE.file).is_file()
    (note,) = archive_findings(workspace)
    assert (note.weight, "archive.unlisted-1" in note.sentence) == ("note", True)


def test_a_store_that_is_gone_is_no_workspace_that_was_never_refreshed(
    workspace: Workspace,
) -> None:
    """Whoever reads is sent to the doctor; with nothing archived, to the first refresh."""
    workspace.database.unlink()
    with pytest.raises(WorkspaceError, match=r"doctor .* says what is lost"), open_store(workspace):
        pass
    for path in (workspace.store / "archive").iterdir():
        path.unlink()
    with pytest.raises(WorkspaceError, match="nothing has been decided"), open_store(workspace):
        pass


def test_the_pages_tell_how_many_publications_there_were(workspace: Workspace) -> None:
    """Also where the archive is gone as a whole; a workspace without any has lost nothing."""
    workspace.database.unlink()
    for path in (workspace.store / "archive").iterdir():
        path.unlink()
    assert not was_published(workspace)
    assert recover(workspace) is None
    workspace.published.mkdir()
    (workspace.published / "manifest.json").write_text('{"publication": 2}', "utf-8")
    assert was_published(workspace)
    assert loss(workspace).publications == (1, 2)


def test_the_first_day_is_told_where_the_clock_went_back(monkeypatch: pytest.MonkeyPatch) -> None:
    """The day that is advised has a publication, though one of a later day has number 1."""
    monkeypatch.setattr(reading, "zone_of", lambda con: ZoneInfo("America/Denver"))
    with duckdb.connect() as con:
        con.execute(
            "create table publications as from (values (1, timestamp '2026-01-10 19:00'), "
            "(2, timestamp '2026-01-01 06:59')) as t(publication, published_at)"
        )
        with pytest.raises(NotFoundError, match=r"by 2025-12-30; .* is of 2025-12-31\.$"):
            reading.publication_by(con, dt.date(2025, 12, 30))
        assert reading.publication_by(con, dt.date(2025, 12, 31))["publication"] == 2


def test_decisions_are_written_a_few_thousand_at_a_time(workspace: Workspace) -> None:
    """All of a publication in one group of rows, each with its findings, outgrew the memory of
    a store of 400,000 claims. They stand as they were added, and no other publication's do."""
    claims = [f"WC-{number:06}" for number in range(25_000)]
    decided = pl.DataFrame({"claim": claims}).with_columns(
        *(
            pl.lit(None, dtype).alias(name)
            for name, dtype in ARCHIVE_TABLES["decision_archive"].items()
            if name not in ("claim", "publication")
        ),
        publication=pl.lit(2, pl.Int64),
    )
    with duckdb.connect(":memory:") as con:
        con.execute("create schema archive")
        for name, schema in ARCHIVE_TABLES.items():
            write_frame(con, name, pl.DataFrame(schema=schema))
        con.execute("create table decision_history (claim varchar, publication bigint)")
        append_frame(con, "decision_archive", decided.with_columns(publication=pl.lit(1)))
        append_frame(con, "decision_archive", decided)
        write_files(con, workspace, 2)
        path = str(workspace.store / "archive" / file_name("decision_archive", 2))
        groups = con.execute(
            "select distinct row_group_id, row_group_num_rows from parquet_metadata(?)", [path]
        ).fetchall()
        kept = con.execute("select claim, publication from read_parquet(?)", [path]).fetchall()
    assert kept == [(claim, 2) for claim in claims]
    assert len(groups) >= 3
    assert max(rows for _, rows in groups) <= 10_240
