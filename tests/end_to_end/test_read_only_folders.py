"""Folders and files that the user of a refresh may not write, or not even read.

Modes do not bind root, so that a refresh that root starts here first lays down the right to pass
over them; for every other user they bind as they are.
"""

import datetime as dt
import functools
import shutil
import zipfile
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

# By the numbers of linux/capability.h: DAC_OVERRIDE and DAC_READ_SEARCH go from both sets in use.
HOOK = """
import ctypes, sys

sys.stderr = open({said!r}, "w")
os.environ.pop("POLARS_MAX_THREADS", None)  # as at work, where the exports are looked at for it
if os.geteuid() == 0:
    libc = ctypes.CDLL(None, use_errno=True)
    header, sets = (ctypes.c_uint32 * 2)(0x20080522, 0), (ctypes.c_uint32 * 6)()
    assert libc.capget(header, sets) == 0
    sets[0] &= ~0b110
    sets[1] &= ~0b110
    assert libc.capset(header, sets) == 0
"""
# Commands one after the other; their exit codes go into a file.
COMMANDS = """
import os
{hook}
from pipelines.cli.main import main

sys.stdout = sys.stderr
codes = [main(line) for line in {lines!r}]
open({codes!r}, "w").write(str(codes))
"""
UNREADABLE, NO_FILE, NO_FOLDER = 0o000, 0o444, 0o555
# What may not be used, its mode, the exit code, and what the sentence says.
STOPS = [
    (".", NO_FOLDER, 70, "published.new: cannot be read or written (Permission denied). Give this"),
    (".", UNREADABLE, 2, "limeledger.toml cannot be read (Permission denied); give this user"),
    (
        "store",
        NO_FOLDER,
        70,
        "limeledger.duckdb.new.copy: cannot be read or written (Permission",
    ),
    ("store", UNREADABLE, 70, "write access to the workspace and to the folders store and"),
    ("store/refresh.lock", NO_FILE, 70, "refresh.lock cannot be written (Permission denied); free"),
    ("store/limeledger.duckdb", UNREADABLE, 70, "limeledger.duckdb: the store cannot be opened"),
    ("exports", UNREADABLE, 2, "the folder exports/ cannot be read (Permission denied)"),
    ("reference", UNREADABLE, 2, "/reference cannot be read (Permission denied); give"),
    ("mappings", UNREADABLE, 2, "/mappings cannot be read (Permission denied); give"),
    ("letters", UNREADABLE, 2, "/letters cannot be read (Permission denied); give"),
    ("terms", UNREADABLE, 2, "/terms cannot be read (Permission denied); give"),
    ("terms/W2.toml", UNREADABLE, 2, "W2.toml cannot be read (Permission denied)"),
    ("published", UNREADABLE, 70, "cannot be read or written (Permission denied). Give this"),
]
GOES_ON = [
    ("exports", NO_FOLDER),
    ("exports/units", NO_FOLDER),
    ("exports/units/register.csv", NO_FILE),
    ("store/limeledger.duckdb", NO_FILE),
    ("published/index.html", NO_FILE),
    ("published/data/decisions.csv", NO_FILE),
    ("published/claims", UNREADABLE),
    ("published/data", NO_FOLDER),
    ("published", NO_FOLDER),
]


def _deliver(workspace: Path) -> None:
    header = (workspace / "exports/units/register.csv").read_text().splitlines()[0]
    row = "K0001,CO-1,2024-01-02,2024-01-10,2024-01-20,SITE-16,Worked kitchen 16,US-NM,00000,"
    (workspace / "exports/units/more.csv").write_text(f"{header}\n{row}\n")


@pytest.fixture
def bound(start, script, tmp_path):
    """Runs a refresh that modes bind; returns its exit code and the last line that it said."""

    def run(workspace: Path) -> tuple[int, str]:
        said = tmp_path / "said"
        process = start(functools.partial(exec, script(workspace, HOOK.format(said=str(said))), {}))
        process.join(120)
        assert "Traceback" not in said.read_text()
        return process.exitcode, said.read_text().strip().splitlines()[-1]

    return run


@pytest.fixture(scope="module")
def undisturbed(claims, tmp_path_factory, start, script, tools):
    """Store and pages after the delivery where everything may be written."""
    folder = shutil.copytree(claims[0], tmp_path_factory.mktemp("undisturbed") / "workspace")
    _deliver(folder)
    process = start(functools.partial(exec, script(folder), {}))
    process.join(120)
    assert process.exitcode == 1
    return tools["store"](folder), tools["pages"](folder)


def _assert_as(undisturbed, workspace: Path, tools) -> None:
    assert tools["differing"](undisturbed[0], tools["store"](workspace)) == []
    assert tools["pages"](workspace) == undisturbed[1]
    assert list(workspace.glob("published.*")) == []


def test_what_may_not_be_used_is_named_and_all_stays(workspace, bound, undisturbed, tools, capfd):
    """Each time one sentence, store and pages as before; with the right again all is made good."""
    _deliver(workspace)
    (workspace / "mappings").mkdir(exist_ok=True)
    (workspace / "letters").mkdir(exist_ok=True)
    folders = (workspace / "store", workspace / "published", workspace / "exports")
    before = tools["hashes"](*folders)
    status = str(workspace / "published" / "assets" / "status.js")
    for place, mode, code, words in STOPS:
        path = workspace / place
        kept = path.stat().st_mode
        path.chmod(mode)
        try:
            ended, sentence = bound(workspace)
        finally:
            path.chmod(kept)
        assert (ended, words in sentence) == (code, True), (place, oct(mode), ended, sentence)
        after = tools["hashes"](*folders)
        moved = {name for name in {*before, *after} if before.get(name) != after.get(name)}
        # What was finished before the stop is kept apart.
        apart = {status, str(workspace / "store" / "limeledger.duckdb.new")}
        assert moved <= apart, (place, oct(mode))
    assert "W2.toml cannot be read" in Path(status).read_text()  # the last that could be noted
    assert bound(workspace)[0] == 1
    _assert_as(undisturbed, workspace, tools)


def test_what_is_only_read_or_replaced_need_not_be_writable(
    workspace, bound, undisturbed, tools, capfd
):
    """Exports are only read; pages and store are replaced, and read-only old ones not left."""
    _deliver(workspace)
    for place, mode in GOES_ON:
        (workspace / place).chmod(mode)
    assert bound(workspace)[0] == 1
    _assert_as(undisturbed, workspace, tools)
    assert (workspace / "exports").stat().st_mode & 0o777 == NO_FOLDER
    (workspace / "exports").chmod(0o755)
    (workspace / "exports/units").chmod(0o755)


def test_a_first_refresh_says_which_folder_it_cannot_make(unrefreshed, bound, capfd):
    """Nothing is made; the sentence names the place."""
    before = sorted(path.name for path in unrefreshed.iterdir())
    unrefreshed.chmod(NO_FOLDER)
    try:
        code, sentence = bound(unrefreshed)
    finally:
        unrefreshed.chmod(0o755)
    assert code == 70
    assert f"{unrefreshed}/store" in sentence
    assert "give write permission" in sentence
    assert sorted(path.name for path in unrefreshed.iterdir()) == before


def test_a_log_that_takes_no_line_hides_no_fault(workspace, bound, capfd):
    """The sentence and the note on the pages tell of the failed night all the same.

    A run gives the files of the store their mode, and makes a damaged store anew: what takes no
    line is a folder of the log's name, and what fails are broken terms.
    """
    (workspace / "store" / "limeledger.log").unlink(missing_ok=True)
    (workspace / "store" / "limeledger.log").mkdir()
    (workspace / "terms" / "W2.toml").write_text("edition = \n")
    code, sentence = bound(workspace)
    assert (code, "W2.toml line 1" in sentence) == (2, True)
    assert list((workspace / "store" / "limeledger.log").iterdir()) == []
    assert "W2.toml line 1" in (workspace / "published" / "assets" / "status.js").read_text()


def test_old_pages_that_cannot_be_removed_are_not_published_again(
    workspace, run, day, tools, monkeypatch
):
    """What somebody else owns in published.new stops the night before it begins."""
    monkeypatch.setattr("pipelines.store.swap.remove_folder", lambda folder: None)
    (workspace / "published.new").mkdir()
    (workspace / "published.new" / "old.html").write_text("old")
    before = tools["hashes"](workspace / "store", workspace / "published")
    _deliver(workspace)
    call = run("refresh", workspace, "--as-of", day)
    assert call.code == 70
    assert "published.new is left of an earlier refresh and cannot be removed." in call.err
    after = tools["hashes"](workspace / "store", workspace / "published")
    assert {name for name in after if before.get(name) != after[name]} == {
        str(workspace / "published" / "assets" / "status.js")
    }


def test_who_may_only_read_reads_all_and_is_told_what_writes(workspace, start, tmp_path):
    """A copy on a disk that takes nothing is explained, searched and backed up all the same."""
    ws, said, codes = str(workspace), tmp_path / "said", tmp_path / "codes"
    reads = ["explain W01", "explain W01 --as-of 2025-06-01", "letters", "audit", "month 2025-12"]
    reads += ["field --by family", "search W01", "user list", "reproduce W01 --decided {today}"]
    today = dt.datetime.now(ZoneInfo("America/Denver")).date()
    lines = [[*one.format(today=today).split(), ws] for one in reads]
    lines += [["backup", ws, str(tmp_path / "kept.zip")], ["note", "W01", "seen", "--by", "A", ws]]
    hook = HOOK.format(said=str(said))
    code = COMMANDS.format(hook=hook, lines=lines, codes=str(codes))
    folders = [workspace, *(path for path in workspace.rglob("*") if path.is_dir())]
    for folder in folders:
        folder.chmod(NO_FOLDER)
    try:
        process = start(functools.partial(exec, code, {}))
        process.join(120)
    finally:
        for folder in folders:
            folder.chmod(0o755)
    assert codes.read_text() == str([0] * (len(reads) + 1) + [70]), said.read_text()
    assert "attempt to write a readonly database" in said.read_text().splitlines()[-1]
    with zipfile.ZipFile(tmp_path / "kept.zip") as archive:
        assert "desk/desk.sqlite" in archive.namelist()


@pytest.mark.parametrize("folder", ["terms", "exports/units"])
def test_what_a_backup_may_not_look_into_is_in_none(workspace, start, tmp_path, folder):
    """A folder left out unseen would be missed on the day that the backup is for."""
    said, codes, kept = tmp_path / "said", tmp_path / "codes", tmp_path / "kept.zip"
    lines = [["backup", str(workspace), str(kept)]]
    code = COMMANDS.format(hook=HOOK.format(said=str(said)), lines=lines, codes=str(codes))
    (workspace / folder).chmod(UNREADABLE)
    try:
        process = start(functools.partial(exec, code, {}))
        process.join(120)
    finally:
        (workspace / folder).chmod(0o755)
    assert codes.read_text() == "[70]", said.read_text()
    assert f"{folder}: the backup could not be written (Permission denied)" in said.read_text()
    assert not kept.exists()
