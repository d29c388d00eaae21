"""Bad input: documented exit code, one clear sentence, store and pages as they were."""

import dataclasses
import errno
import json
import os
import random
import re
import sys
import time

import duckdb
import polars as pl
import pytest

from pipelines.cli import dagster as dagster_command
from pipelines.steps import decide as decide_step
from pipelines.store.database import connect
from pipelines.workspace.layout import Workspace


@pytest.fixture
def kept(workspace, tools):
    """Checks at the end of a test that nothing but the note on the pages has moved.

    What a run finished before it failed is kept apart: in the working copy, and in files of the
    archive that no line of its index names yet.
    """
    folders = (workspace / "store", workspace / "published", workspace / "exports")
    before = tools["hashes"](*folders)
    yield workspace
    after = tools["hashes"](*folders)
    status = str(workspace / "published" / "assets" / "status.js")
    moved = [path for path in {*before, *after} if before.get(path) != after.get(path)]
    apart = {status, str(workspace / "store" / "limeledger.duckdb.new")}
    archive = workspace / "store" / "archive"
    index = (archive / "index.jsonl").read_text() if archive.is_dir() else ""
    apart |= {str(path) for path in archive.glob("*.parquet") if path.name not in index}
    assert [path for path in moved if path not in apart] == []
    assert not (workspace / "published.new").exists()


def _is_one_sentence(text: str) -> bool:
    lines = text.strip().splitlines()
    return len(lines) == 1 and lines[0].endswith(".") and "Traceback" not in text


def test_an_empty_folder_is_no_workspace(tmp_path, run):
    """The sentence names the settings file and how to make a workspace."""
    call = run("refresh", tmp_path)
    assert call.code == 2
    assert "limeledger.toml is missing" in call.err
    assert "limeledger new" in call.err
    assert _is_one_sentence(call.err)
    assert list(tmp_path.iterdir()) == []


def test_a_missing_folder_is_named(tmp_path, run):
    """There is no such folder, and none is made."""
    call = run("refresh", tmp_path / "nowhere")
    assert call.code == 2
    assert "there is no such folder" in call.err
    assert _is_one_sentence(call.err)
    assert not (tmp_path / "nowhere").exists()


def test_broken_settings_are_placed_by_line(kept, run):
    """Text that is no TOML: file, line, and no change."""
    (kept / "limeledger.toml").write_text('maker = "Open\n')
    call = run("refresh", kept)
    assert call.code == 2
    assert "limeledger.toml" in call.err
    assert re.search(r"line 1\b", call.err)
    assert "Traceback" not in call.err


def test_broken_terms_are_placed_by_line(kept, run, day):
    """A terms file that is no TOML stops before anything is written."""
    (kept / "terms" / "W2.toml").write_text("edition = \n")
    call = run("refresh", kept, "--as-of", day)
    assert call.code == 2
    assert "W2.toml" in call.err
    assert re.search(r"line 1\b", call.err)


def test_a_failed_refresh_is_told_to_the_command_of_the_settings(workspace, run, day):
    """Whom the settings name hears of it; that he cannot be told hides no fault and no code."""
    keeps = [sys.executable, "-c", "import sys; open('told.txt', 'a').write(sys.stdin.read())"]
    with (workspace / "limeledger.toml").open("a") as settings:
        settings.write(f"[nightly]\non_failure_command = {json.dumps(keeps)}\n")
    (workspace / "terms" / "W2.toml").write_text("edition = \n")
    call = run("refresh", workspace, "--as-of", day)
    assert call.code == 2
    assert (workspace / "told.txt").read_text() == call.err
    assert "W2.toml line 1" in call.err
    assert "W2.toml line 1" in (workspace / "published" / "assets" / "status.js").read_text()
    assert "W2.toml line 1" in (workspace / "store" / "limeledger.log").read_text()
    assert run("refresh", workspace, "--as-of", "no day").code == 2
    assert (workspace / "told.txt").read_text() == call.err  # a wrong call is no failed night
    text = (workspace / "limeledger.toml").read_text()
    (workspace / "limeledger.toml").write_text(text.replace(keeps[0], "/no/such/program"))
    call = run("refresh", workspace, "--as-of", day)
    assert call.code == 2
    assert "Nobody was told by nightly.on_failure_command" in call.err
    assert "W2.toml" in call.err


def test_a_second_refresh_at_the_same_time_is_turned_away(kept, run, start):
    """While another process holds the lock: exit code 3, nothing read, no note on the pages."""
    script = (
        "import fcntl, time\n"
        f"file = open({str(kept / 'store' / 'refresh.lock')!r}, 'r+')\n"
        "fcntl.flock(file, fcntl.LOCK_EX)\n"
        'file.write(\'{"pid": 4711, "host": "elsewhere", "since": "2025-12-31T02:15:00"}\')\n'
        "file.flush()\n"
        f"open({str(kept / 'held')!r}, 'w').close()\n"
        "time.sleep(120)\n"
    )
    process = start(exec, script)
    try:
        while not (kept / "held").exists():
            assert process.is_alive()
            time.sleep(0.01)
        call = run("refresh", kept, "--as-of", "2025-12-30")
        assert call.code == 3
        assert "process 4711 on elsewhere, since 2025-12-31T02:15:00" in call.err
        assert "Traceback" not in call.err
        assert "null" in (kept / "published" / "assets" / "status.js").read_text()
        # People go on acting at the desk meanwhile.
        assert run("rule", "W08", "covered", kept, "--by", "a", "--reason", "b").code == 0
    finally:
        process.kill()
        process.join()


def test_a_store_that_is_no_folder_cannot_be_written(unrefreshed, run, day):
    """A file where the store should be: exit code 70, one sentence, no pages."""
    (unrefreshed / "store").write_text("in the way")
    call = run("refresh", unrefreshed, "--as-of", day)
    assert call.code == 70
    assert "cannot be written" in call.err
    assert "Traceback" not in call.err
    assert (unrefreshed / "store").read_text() == "in the way"
    assert not (unrefreshed / "published").exists()


def test_a_damaged_store_is_told_by_readers_and_made_anew(workspace, run, day, no_figures):
    """A file that is no database: a reader names it with its remedy, a refresh makes it anew.

    The contract's version 2 lets a refresh make a damaged store anew, with what the archive keeps.
    """
    database = workspace / "store" / "limeledger.duckdb"
    database.write_bytes(b"no database" * 1000)
    call = run("explain", "W01", workspace)
    assert call.code == 70
    assert call.err.strip().startswith(f"{database}: the store cannot be opened")
    assert "ove it away" in call.err
    assert "Traceback" not in call.err
    assert run("refresh", workspace, "--as-of", day).code == 1
    assert "W01" in run("explain", "W01", workspace).out


def test_bytes_at_random_for_a_store_are_told_by_its_own_name(workspace, run, day):
    """DuckDB gives its own words; the sentence is of the store all the same."""
    database = workspace / "store" / "limeledger.duckdb"
    database.write_bytes(random.Random(1).randbytes(5000))
    call = run("explain", "W01", workspace)
    assert call.code == 70
    assert call.err.strip().splitlines()[-1].startswith(f"{database}: the store cannot be opened")
    assert "ove it away" in call.err
    assert "fault of the tool" not in call.err


@pytest.mark.parametrize("day", ["0001-01-01", "1899-12-31", "2200-01-01", "20250101", "soon"])
def test_a_day_that_no_export_can_have_is_a_wrong_call(workspace, run, day):
    """Exit code 2, and how to write it."""
    call = run("check", workspace, "--as-of", day)
    assert call.code == 2
    assert "write it as YYYY-MM-DD" in call.err


def test_a_file_that_tells_by_its_name_how_far_it_goes_can_be_stale(workspace, run):
    """A header alone is fine, but a feed that ended long ago is stale also where nothing came."""
    for old in (workspace / "exports").rglob("*ruling*"):
        old.unlink()
    header = "claim,ruled_at,ruled_by,ruling,reason,parts_amount,labor_amount,travel_amount\n"
    (workspace / "exports" / "rulings_2025-01-31.csv").write_text(header)
    told = run("check", workspace, "--as-of", "2025-12-31", "--json")
    assert told.code == 1
    states = {feed["feed"]: feed for feed in json.loads(told.out)["feeds"]}
    assert states["rulings"]["stale"] is True
    assert states["rulings"]["through_date"] == "2025-01-31"


# Where a full or read-only disk may be met: the copy of the store, the tables for people, the
# pages, the step to the disk, and the names that are put in place of the old ones.
WRITES = [
    ("pipelines.store.working_copy.shutil.copyfile", errno.ENOSPC),
    ("pipelines.steps.publish.write_table_files", errno.ENOSPC),
    ("dashboards.site.Path.write_text", errno.ENOSPC),
    ("pipelines.store.swap._sync", errno.ENOSPC),
    ("pipelines.store.swap.swap_folder", errno.EROFS),
    ("pipelines.store.swap.os.replace", errno.EROFS),
    ("pipelines.store.swap.swap_folder", errno.EBUSY),
]
WORDS = {
    errno.ENOSPC: "the disk is full",
    errno.EROFS: "cannot be written (Read-only",
    errno.EBUSY: "mount the workspace as a whole",
}


@pytest.mark.parametrize(("write", "code"), WRITES)
def test_a_disk_that_takes_no_more_leaves_all_as_it_was(
    kept, run, monkeypatch, no_figures, write, code
):
    """Whichever write fails: exit code 70, one sentence, nothing half done."""

    def fail(*_, **__):
        raise OSError(code, os.strerror(code))

    with monkeypatch.context() as patch:
        patch.setattr(write, fail)
        call = run("refresh", kept, "--as-of", "2025-12-30")
    assert call.code == 70, call.err
    assert WORDS[code] in call.err
    assert "Traceback" not in call.err


def test_first_pages_do_not_stand_without_a_store(unrefreshed, day, run, monkeypatch, no_figures):
    """The very last name fails: there were no pages before, so there are none after."""

    def fail(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr("pipelines.store.swap.os.replace", fail)
        call = run("refresh", unrefreshed, "--as-of", day)
    assert call.code == 70, call.err
    assert "the disk is full" in call.err.strip().splitlines()[-1]
    assert not (unrefreshed / "store" / "limeledger.duckdb").exists()
    assert not (unrefreshed / "published" / "index.html").exists()
    assert run("refresh", unrefreshed, "--as-of", day).code == 1


def test_pages_that_cannot_be_taken_back_are_told(workspace, run, monkeypatch, no_figures):
    """Neither the last name nor its undoing works: the sentence says so, and the way out holds."""
    from pipelines.store import swap as session

    once = iter([session.swap_folder])

    def fail(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(session, "swap_folder", lambda *names: next(once, fail)(*names))
        patch.setattr(session.os, "replace", fail)
        call = run("refresh", workspace, "--as-of", "2025-12-30")
    last = call.err.strip().splitlines()[-1]
    assert call.code == 70, call.err
    assert "nor these new pages be taken back (No space left on device)" in last
    assert "refresh again" in last
    assert run("refresh", workspace, "--as-of", "2025-12-30").code == 1
    told = json.loads((workspace / "published" / "manifest.json").read_text())
    assert told["as_of"] == "2025-12-30"


def test_half_a_copy_of_the_store_is_not_left_behind(kept, run, monkeypatch):
    """Where the disk is full already while the store is copied, what was copied goes again."""

    def copy_half(source, target):
        target.write_bytes(source.read_bytes()[:4096])
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("pipelines.store.working_copy.shutil.copyfile", copy_half)
    call = run("refresh", kept, "--as-of", "2025-12-30")
    assert call.code == 70, call.err
    assert "the disk is full" in call.err
    assert {path.name for path in (kept / "store").glob("*.duckdb*")} == {"limeledger.duckdb"}


def test_duckdb_draws_no_progress_bar_into_the_output(tmp_path):
    """stdout carries JSON: the store's connection never draws."""
    con = connect(tmp_path / "some.duckdb")
    assert con.execute("select current_setting('enable_progress_bar')").fetchone() == (False,)
    con.close()


def test_the_store_reads_no_file_that_data_names(claims):
    """No SQL can reach outside the store's folder, and no setting can be changed back."""
    con = connect(claims[0] / "store" / "limeledger.duckdb", read_only=True)
    try:
        for sql in (
            "select * from read_text('/etc/hostname')",
            "set enable_external_access=true",
            "install excel",
        ):
            with pytest.raises(duckdb.Error):
                con.execute(sql)
    finally:
        con.close()


def test_dagster_sends_no_telemetry(workspace):
    """The instance that `limeledger dagster` makes has telemetry off."""
    import dagster as dg

    home = dagster_command.dagster_home(Workspace.open(workspace))
    assert os.environ["DAGSTER_DISABLE_TELEMETRY"] == "1"
    with dg.DagsterInstance.from_config(str(home)) as instance:
        assert instance.telemetry_enabled is False


def test_a_frame_that_does_not_fit_its_schema_stops_the_night(kept, run, monkeypatch):
    """The blocking check of a real table fails: store and pages stay, the exit code is 70."""
    decide = decide_step.decide_claims

    def misfit(session):
        deciding = decide(session)
        wrong = (
            found | {"decisions": found["decisions"].with_columns(verdict=pl.lit("perhaps"))}
            for found in deciding.parts
        )
        return dataclasses.replace(deciding, parts=wrong)

    monkeypatch.setattr("pipelines.steps.decide.decide_claims", misfit)
    call = run("refresh", kept, "--as-of", "2025-12-30")
    assert call.code == 70
    assert "Pages" not in call.err
    assert "fits_schema" in (kept / "published" / "assets" / "status.js").read_text()
