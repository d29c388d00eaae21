"""`doctor`: each thing that can be wrong with a workspace is told with its way out."""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys

import duckdb
import polars as pl
import pytest

from pipelines.errors import WorkspaceError
from pipelines.nightly.health import workspace_checks
from pipelines.nightly.notifications import after_failure
from pipelines.workspace.lock import refresh_lock


def findings(call, matter: str) -> list[str]:
    """The sentences on one matter."""
    return [one["sentence"] for one in call.json["findings"] if one["matter"] == matter]


def everything(folder) -> dict[str, tuple[int, bytes]]:
    """Names, times and bytes of all that stands in a workspace."""
    return {
        str(path): (path.lstat().st_mtime_ns, path.read_bytes() if path.is_file() else b"")
        for path in sorted(folder.rglob("*"))
    }


def test_a_sound_workspace_has_its_stale_feeds_told_and_nothing_is_written(workspace, run):
    """The worked claims are old: exit code 1, each stale feed with its remedy, no file touched."""
    before = everything(workspace)
    call = run("doctor", workspace, "--json")
    assert call.code == call.json["exit_code"] == 1
    assert {one["matter"] for one in call.json["findings"]} <= {"feeds", "time zone"}
    assert "The feed units is stale: complete to 2025-02-20." in findings(call, "feeds")
    assert all(one["remedy"] for one in call.json["findings"] if one["weight"] == "warning")
    text = run("doctor", workspace)
    assert text.code == 1
    assert "Ask its source for a newer export." in text.out
    assert text.out.rstrip().endswith("something needs a person.")
    assert everything(workspace) == before


def test_what_has_never_been_refreshed(unrefreshed, run):
    """Nothing decided yet: the command that does it."""
    call = run("doctor", unrefreshed, "--json")
    assert call.code == 1
    assert findings(call, "store") == ["Nothing has been decided here yet."]
    assert not (unrefreshed / "store").exists()


def test_no_workspace_is_a_wrong_call(tmp_path, run):
    """The folder is named, and how to make a workspace."""
    call = run("doctor", tmp_path / "nowhere")
    assert call.code == 2
    assert "there is no such folder" in call.err


def test_faults_of_settings_and_terms_come_first(workspace, run):
    """What the next refresh would stop at: exit code 2, with file and line."""
    (workspace / "terms" / "W2.toml").write_text("edition = \n")
    (workspace / "reference" / "models.csv").unlink()
    call = run("doctor", workspace, "--json")
    assert call.code == 2
    assert call.json["findings"][0]["weight"] == "fault"
    assert any("models.csv" in sentence for sentence in findings(call, "inputs"))
    (workspace / "limeledger.toml").write_text('maker = "Open\n')
    call = run("doctor", workspace, "--json")
    assert call.code == 2
    assert "limeledger.toml line 1" in findings(call, "settings")[0]


def test_exports_that_are_links_or_of_no_feed_or_new(workspace, tmp_path, run):
    """A link out, a file of no feed, a file that the last refresh has not seen."""
    (tmp_path / "secret.csv").write_text("secret")
    (workspace / "exports" / "units" / "link.csv").symlink_to(tmp_path / "secret.csv")
    (workspace / "exports" / "stray.csv").write_text("a,b\n1,2\n")
    told = findings(run("doctor", workspace, "--json"), "exports")
    assert any("link.csv is a link that leads out of the workspace" in one for one in told)
    assert any("stray.csv is of no feed" in one for one in told)
    assert any("Since the last refresh: 2 new or changed" in one for one in told)


def test_an_export_that_was_set_aside_whole(workspace, run, day, no_figures):
    """A file whose columns nobody knows: the reason, and the command that drafts a mapping."""
    (workspace / "exports" / "units" / "other.csv").write_text("foo,bar\n1,2\n")
    assert run("refresh", workspace, "--as-of", day).code == 1
    call = run("doctor", workspace)
    assert "The file units/other.csv was set aside:" in call.out
    assert "limeledger map" in call.out


def test_a_refresh_that_runs_and_one_that_died(workspace, run):
    """The lock's file is read, the lock itself is never touched."""
    with refresh_lock(workspace / "store"):
        call = run("doctor", workspace, "--json")
        (running,) = findings(call, "lock")
        assert running.startswith(f"A refresh is running (process {os.getpid()} on ")
    gone = subprocess.run([sys.executable, "-c", "import os; print(os.getpid())"], stdout=-1)
    holder = {"pid": int(gone.stdout), "host": socket.gethostname(), "since": "2026-01-01T02:15:00"}
    (workspace / "store" / "refresh.lock").write_text(json.dumps(holder))
    (workspace / "store" / "limeledger.duckdb.new").write_text("half")
    (workspace / "published.new").mkdir()
    call = run("doctor", workspace, "--json")
    assert call.code == 1
    assert findings(call, "lock")[0].endswith("since 2026-01-01T02:15:00 did not end.")
    assert findings(call, "leftovers") == [
        "An interrupted refresh left store/limeledger.duckdb.new, published.new behind."
    ]
    holder = {
        "pid": os.getpid(),
        "host": socket.gethostname(),
        "since": "2026-01-01T02:15:00+00:00",
    }
    (workspace / "store" / "refresh.lock").write_text(json.dumps(holder))
    call = run("doctor", workspace)
    assert "It has run for" in call.out  # for months: somebody should look


def test_a_failed_night_is_told_with_its_reason(workspace, run):
    """What the pages' note says, as a night under Dagster leaves it."""
    after_failure(workspace, WorkspaceError("terms/W2.toml line 1: no value."))
    (told,) = findings(run("doctor", workspace, "--json"), "last refresh")
    assert "failed: terms/W2.toml line 1" in told


def test_stores_that_are_damaged_or_of_another_version(workspace, run, day):
    """A newer tool's store stops a refresh before anything is written; so does rubbish."""
    database = workspace / "store" / "limeledger.duckdb"
    con = duckdb.connect(str(database))
    con.execute("update store_state set schema_version = '99.0.0'")
    con.close()
    call = run("doctor", workspace, "--json")
    assert call.code == 2
    assert findings(call, "store")[0].startswith("The store is of version 99.0.0, and this tool")
    before = everything(workspace / "store")
    call = run("refresh", workspace, "--as-of", day)
    assert call.code == 2
    assert "made by a newer tool" in call.err
    after = everything(workspace / "store")
    assert after[str(database)] == before[str(database)]
    database.write_bytes(b"no database" * 1000)
    call = run("doctor", workspace, "--json")
    assert call.code == 2
    assert "Move it away and refresh" in findings(call, "store")[0]


def test_an_older_store_is_made_anew_with_its_history(
    workspace, run, tools, day, no_figures, no_pages
):
    """What cannot be computed again is carried over: the history of decisions, and rulings."""
    assert run("rule", "W08", "covered", workspace, "--by", "a", "--reason", "b").code == 0
    call = run("refresh", workspace, "--as-of", day)
    assert call.code == 1, call.err
    before = tools["store"](workspace)
    con = duckdb.connect(str(workspace / "store" / "limeledger.duckdb"))
    con.execute("update store_state set schema_version = '1.0.0'")
    con.execute("alter table decisions drop column missing")
    con.execute("alter table decisions add column of_old_times varchar")
    con.execute("alter table parsed_units drop column model")
    con.close()
    assert "made anew" in run("doctor", workspace).out
    assert run("refresh", workspace, "--as-of", day).code == 1
    after = tools["store"](workspace)
    # The files are all new to a store that is made anew, and it is one publication more (since
    # version 2 of the contract: their table grows); everything else is as it was.
    for tables in (before, after):
        states = tables["main.table_states"]
        tables["main.table_states"] = states.filter(pl.col("table") != "publications")
    assert tools["differing"](before, after) in ([], ["main.export_files"])


def test_disk_clock_age_pages_and_who_is_told(workspace, run, monkeypatch):
    """Little space, files of tomorrow, a missing program, pages that are gone."""
    with (workspace / "limeledger.toml").open("a") as settings:
        settings.write('[nightly]\non_failure_command = ["/no/such/program"]\n')
    register = workspace / "exports" / "units" / "register.csv"
    os.utime(register, (4_000_000_000, 4_000_000_000))
    shutil.rmtree(workspace / "published")
    usage = shutil.disk_usage(workspace)
    with monkeypatch.context() as patch:
        patch.setattr(
            workspace_checks.shutil, "disk_usage", lambda _: usage._replace(free=1_000_000)
        )
        call = run("doctor", workspace, "--json")
    assert call.code == 1
    assert findings(call, "disk")[0].startswith("1 MB are free, and a refresh may need ")
    assert "exports/units/register.csv was written at 2096-10-02" in findings(call, "clock")[0]
    assert "names /no/such/program, which is no program here" in findings(call, "telling")[0]
    assert findings(call, "pages") == ["There are no published pages."]
    assert findings(call, "inputs") == [
        "Settings, mappings, reference files or terms have changed since the last refresh."
    ]


@pytest.mark.parametrize(("folder", "code"), [("store", 2), ("published", 1)])
def test_folders_that_cannot_be_written(workspace, run, monkeypatch, folder, code):
    """The folder is named; old pages are replaced all the same, so that they are no fault."""
    with monkeypatch.context() as patch:
        patch.setattr(workspace_checks.os, "access", lambda path, _: path != workspace / folder)
        call = run("doctor", workspace, "--json")
    assert call.code == code
    assert findings(call, "permissions") == [
        f"{workspace / folder} cannot be written by this user."
    ]


def test_a_refresh_that_is_days_old(workspace, run):
    """The night does not run any more: where to look."""
    con = duckdb.connect(str(workspace / "store" / "limeledger.duckdb"))
    con.execute("update store_state set published_at = '2026-01-01T02:15:00'")
    con.close()
    call = run("doctor", workspace, "--json")
    assert any(
        "The last good refresh was at 2026-01-01" in s for s in findings(call, "last refresh")
    )
    assert findings(call, "pages") == ["The pages are not those of this store."]


def mixtures(call) -> list[tuple[str, str]]:
    """The faults of store and pages, by matter."""
    found = [one for one in call.json["findings"] if one["weight"] == "fault"]
    assert call.code == (2 if found else 1)
    return [(one["matter"], one["sentence"]) for one in found]


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (
            "update table_states set state = repeat('0', 64) where \"table\" = 'decisions'",
            "The table decisions is of another state than the store.",
        ),
        (
            "delete from table_states where \"table\" = 'findings'",
            "The table findings does not say of which state it is.",
        ),
        ("delete from decisions", "The table decisions has not the rows that were put there."),
        ("drop table upcoming cascade", "The table upcoming is missing."),
    ],
)
def test_a_mixture_of_tables_is_a_fault(workspace, run, change, told):
    """A state that a hand has changed, or rows: told with the table's name."""
    con = duckdb.connect(str(workspace / "store" / "limeledger.duckdb"))
    con.execute(change)
    con.close()
    assert ("store", told) in mixtures(run("doctor", workspace, "--json"))


def test_pages_of_another_publication_are_a_fault(workspace, run):
    """An older copy of the store, or another manifest: store and pages name two states."""
    assert mixtures(run("doctor", workspace, "--json")) == []
    manifest = workspace / "published" / "manifest.json"
    told = json.loads(manifest.read_text()) | {"state": "0" * 64}
    manifest.write_text(json.dumps(told))
    assert mixtures(run("doctor", workspace, "--json")) == [
        ("pages", "The pages are not those of this store.")
    ]


def test_a_working_copy_with_other_states_is_told_with_its_way_out(workspace, run):
    """What a run of some tables left is none of the store's states; a copy of the store is."""
    left = workspace / "store" / "limeledger.duckdb.new"
    shutil.copyfile(workspace / "store" / "limeledger.duckdb", left)
    assert findings(run("doctor", workspace, "--json"), "working copy") == []
    con = duckdb.connect(str(left))
    con.execute("update table_states set state = repeat('0', 64) where \"table\" = 'decisions'")
    con.close()
    call = run("doctor", workspace, "--json")
    (told,) = findings(call, "working copy")
    assert told.startswith("store/limeledger.duckdb.new holds 1 tables, as of ")
    assert f"limeledger refresh {workspace}" in run("doctor", workspace).out


def test_a_run_of_another_machine_without_its_end_is_told(workspace, run):
    """Whether it runs cannot be seen from here: it gets no end from who only looks."""
    line = {"run": "far", "event": "begin", "at": "2026-01-01T02:15:00+00:00", "selection": "all"}
    process = {"pid": 1, "host": "far.example", "started": "then"}
    with (workspace / "store" / "runs.jsonl").open("a") as log:
        log.write(json.dumps(line | {"process": process}) + "\n")
    told = findings(run("doctor", workspace, "--json"), "last refresh")
    assert any("on far.example has not ended" in one for one in told)
