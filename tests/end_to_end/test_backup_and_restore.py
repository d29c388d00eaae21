"""A workspace into one file and out of it again; archives that are damaged or of ill will."""

from __future__ import annotations

import json
import os
import shutil
import struct
import threading
import zipfile
from pathlib import Path

import pytest

from pipelines.cli import backup
from pipelines.workspace.lock import refresh_lock


@pytest.fixture(scope="module")
def backed_up(claims, run, tmp_path_factory) -> tuple[Path, Path]:
    """The refreshed worked claims with a ruling recorded since, and their backup. Do not touch."""
    folder = tmp_path_factory.mktemp("backed_up")
    workspace = shutil.copytree(claims[0], folder / "workspace")
    ruled = run("rule", "W08", "covered", workspace, "--by", "a", "--reason", "b")
    assert ruled.code == 0, ruled.err
    (workspace / "store" / "parts" / "frames").mkdir(parents=True)
    for name in ("parts/frames/a.parquet", "engine.log"):  # of a cluster; made anew when needed
        (workspace / "store" / name).write_text("passes")
    target = folder / "backup.zip"
    call = run("backup", workspace, target, "--json")
    assert call.code == 0, call.err
    assert call.json["left_out"] == []
    return workspace, target


@pytest.fixture
def archive(backed_up) -> Path:
    """The backup."""
    return backed_up[1]


def rewritten(archive: Path, target: Path, change) -> Path:
    """The archive with its manifest and files as `change` leaves them."""
    with zipfile.ZipFile(archive) as old:
        files = {entry.filename: old.read(entry) for entry in old.infolist()}
    manifest = json.loads(files.pop("limeledger-backup.json"))
    change(manifest, files)
    with zipfile.ZipFile(target, "w") as new:
        for name, data in files.items():
            new.writestr(name, data)
        new.writestr("limeledger-backup.json", json.dumps(manifest))
    return target


def test_what_is_restored_refreshes_to_the_same_store(
    backed_up, archive, tmp_path, run, tools, day, no_figures, no_pages
):
    """Settings, terms, exports, history and rulings come back; the next refresh is as here."""
    folder, workspace = tmp_path / "restored", tmp_path / "workspace"
    shutil.copytree(backed_up[0], workspace)
    call = run("restore", archive, folder)
    assert call.code == 0, call.err
    assert "limeledger refresh" in call.out
    kept = [
        path.relative_to(workspace)
        for path in sorted(workspace.rglob("*"))
        if path.is_file()
        and path.name not in ("refresh.lock", "desk.sqlite-shm", "desk.sqlite-wal", "engine.log")
        and "parts" not in path.parts
        and path.relative_to(workspace).parts[0] not in ("published", "help")  # made anew
    ]
    assert Path("desk/desk.sqlite") in kept
    assert Path("store/limeledger.duckdb") in kept
    assert [p.relative_to(folder) for p in sorted(folder.rglob("*")) if p.is_file()] == kept
    same = [path for path in kept if path.parts[0] != "desk"]
    assert all((folder / p).read_bytes() == (workspace / p).read_bytes() for p in same)
    told = [run("audit", place, "--json").json for place in (folder, workspace)]
    assert "ruling" in [event["kind"] for event in told[0]["events"]]
    assert told[0] == told[1]
    for place in (folder, workspace):
        assert run("refresh", place, "--as-of", day).code == 1
    assert tools["differing"](tools["store"](workspace), tools["store"](folder)) == []


def test_restore_refuses_a_folder_that_holds_something(archive, tmp_path, run):
    """Nothing is ever put on top of anything; an empty folder is taken."""
    folder = tmp_path / "there"
    folder.mkdir()
    (folder / "mine.txt").write_text("mine")
    call = run("restore", archive, folder)
    assert call.code == 2
    assert "is not empty" in call.err
    assert [path.name for path in folder.iterdir()] == ["mine.txt"]
    (folder / "mine.txt").unlink()
    assert run("restore", archive, folder).code == 0
    assert (folder / "limeledger.toml").is_file()


def test_restore_refuses_the_current_folder(archive, tmp_path, run, monkeypatch):
    """Another would be put in its place, and whoever stands in it would stand nowhere."""
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    call = run("restore", archive, ".")
    assert call.code == 2
    assert "the current folder or a mount of its own; name a new folder, such as work" in call.err
    assert list(Path().iterdir()) == []


def test_restore_refuses_a_mount(archive, tmp_path, run, monkeypatch):
    """A volume that is empty and new is no folder that another can be put in the place of."""
    monkeypatch.setattr("os.path.ismount", lambda place: str(place) == str(tmp_path / "volume"))
    (tmp_path / "volume").mkdir()
    call = run("restore", archive, tmp_path / "volume")
    assert call.code == 2
    assert f"or a mount of its own; name a new folder, such as {tmp_path}/volume/w" in call.err
    assert run("restore", archive, tmp_path / "volume" / "workspace").code == 0


def test_restore_takes_the_longest_name(archive, tmp_path, run):
    """What it works on has a name of its own."""
    assert run("restore", archive, tmp_path / ("w" * 255)).code == 0


ILL = {
    "a path out of the folder": ("../out.txt", "leads out of the folder"),
    "a path from the root": ("/tmp/out.txt", "leads out of the folder"),
    "a path of another system": ("..\\out.txt", "leads out of the folder"),
    "a drive": ("c:out.txt", "leads out of the folder"),
    "a path within that climbs": ("exports/../../out.txt", "leads out of the folder"),
    "one file in other letters": ("LIMELEDGER.toml", "two of its names stand for one file"),
    "a file that is also a folder": ("limeledger.toml/x", "two of its names stand for one file"),
}


@pytest.mark.parametrize(("name", "words"), ILL.values(), ids=ILL)
def test_a_name_that_leads_out_is_refused(archive, tmp_path, run, name, words):
    """Whoever made the archive puts nothing outside the folder, and nothing in it."""

    def plant(manifest, files):
        files[name] = b"planted"
        told = {"path": name, "size": 7, "sha256": "0" * 64}
        manifest["files"].append(told)

    ill = rewritten(archive, tmp_path / "ill.zip", plant)
    before = sorted(tmp_path.rglob("out.txt"))
    call = run("restore", ill, tmp_path / "inner" / "folder")
    assert call.code == 2
    assert words in call.err
    assert not (tmp_path / "inner" / "folder").exists()
    assert sorted(tmp_path.rglob("out.txt")) == before == []


def _changed(manifest, files):
    files["limeledger.toml"] = files["limeledger.toml"].replace(b"M", b"N", 1)[::-1]


def _lacking(manifest, files):
    del files["terms/W1.toml"]


def _added(manifest, files):
    files["extra.txt"] = b"x"


def _longer(manifest, files):
    files["limeledger.toml"] += b"\n"


def _newer(manifest, files):
    manifest["format"] = 99


def _listless(manifest, files):
    manifest["files"] = "all"


CHANGES = {
    "a file's bytes": (_changed, "the checksum of limeledger.toml"),
    "a file that is missing": (_lacking, "a file that it names is not in it"),
    "a file that is not named": (_added, "it holds files that it does not name"),
    "a file that is longer": (_longer, "limeledger.toml is not the file that it should be"),
    "a form of later times": (_newer, "restore it with the version that wrote it"),
    "no list of files": (_listless, "is no backup of a workspace"),
}


@pytest.mark.parametrize(("change", "words"), CHANGES.values(), ids=CHANGES)
def test_a_changed_archive_is_refused_whole(archive, tmp_path, run, change, words):
    """Checksums, names and the form are looked at before anything is put in place."""
    ill = rewritten(archive, tmp_path / "ill.zip", change)
    call = run("restore", ill, tmp_path / "folder")
    assert call.code == 2
    assert words in call.err
    assert not (tmp_path / "folder").exists()
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_links_in_an_archive_are_no_files(archive, tmp_path, run):
    """A symbolic link that an archive holds is refused."""
    ill = tmp_path / "ill.zip"
    with zipfile.ZipFile(archive) as old, zipfile.ZipFile(ill, "w") as new:
        for entry in old.infolist():
            if entry.filename == "limeledger.toml":
                entry.external_attr = 0o120777 << 16
            new.writestr(entry, old.read(entry.filename))
    call = run("restore", ill, tmp_path / "folder")
    assert call.code == 2
    assert "limeledger.toml is not the file that it should be" in call.err


def test_damaged_and_missing_archives(archive, tmp_path, run):
    """Half an archive, a text, bytes that are other ones, also such that nothing can be unpacked,
    and no file at all: one sentence each."""
    whole = archive.read_bytes()
    (tmp_path / "half.zip").write_bytes(whole[: len(whole) // 2])
    (tmp_path / "text.zip").write_text("no archive")
    flipped = bytearray(whole)
    flipped[len(whole) // 3] ^= 0xFF
    (tmp_path / "flipped.zip").write_bytes(flipped)
    with zipfile.ZipFile(archive) as opened:
        (settings,) = (one for one in opened.infolist() if one.filename == "limeledger.toml")
    assert settings.compress_type == zipfile.ZIP_DEFLATED
    at = settings.header_offset
    sizes = struct.unpack("<HH", whole[at + 26 : at + 30])  # of the name and of what follows it
    strange = bytearray(whole)
    strange[at + 30 + sum(sizes)] |= 0b110  # a kind of block that there is none of (RFC 1951)
    (tmp_path / "strange.zip").write_bytes(strange)
    for name in ("half.zip", "text.zip", "flipped.zip", "strange.zip"):
        call = run("restore", tmp_path / name, tmp_path / "folder")
        assert call.code == 2, name
        assert "Traceback" not in call.err
        assert not (tmp_path / "folder").exists()
    assert run("restore", tmp_path / "none.zip", tmp_path / "folder").code == 4


def test_backup_waits_for_a_refresh_or_says_who_runs(workspace, tmp_path, run, monkeypatch):
    """A refresh at work is waited for; after the wait the exit code is 3 and no file is there."""
    target = tmp_path / "backup.zip"
    with refresh_lock(workspace / "store"):
        call = run("backup", workspace, target, "--wait", "0")
        assert call.code == 3
        assert f"process {os.getpid()}" in call.err
    held, free = threading.Event(), threading.Event()

    def hold():
        with refresh_lock(workspace / "store"):
            held.set()
            free.wait(60)

    holder = threading.Thread(target=hold)
    holder.start()
    assert held.wait(60)
    say = backup.progress

    def free_once_it_waits(words):
        say(words)
        free.set()

    monkeypatch.setattr(backup, "progress", free_once_it_waits)
    call = run("backup", workspace, target, "--wait", "60")
    assert free.is_set(), "it did not wait for the lock"
    holder.join()
    assert call.code == 0, call.err
    assert "Waiting: another refresh" in call.err


def test_backup_leaves_links_out_and_says_so(workspace, tmp_path, run):
    """A link out of the workspace is no part of it: told, and exit code 1."""
    (tmp_path / "secret.csv").write_text("secret")
    (workspace / "exports" / "units" / "link.csv").symlink_to(tmp_path / "secret.csv")
    target = tmp_path / "backup.zip"
    call = run("backup", workspace, target)
    assert call.code == 1
    assert "exports/units/link.csv is a link that leads out of the workspace" in call.out
    with zipfile.ZipFile(target) as made:
        names = made.namelist()
    assert "exports/units/link.csv" not in names
    assert not [name for name in names if name.startswith("published") or "lock" in name]


@pytest.mark.parametrize("place", ["workspace/backup.zip", "workspace/exports/units/b.zip"])
def test_backup_refuses_a_place_in_the_workspace(workspace, run, place):
    """It would be an export of the next refresh, and part of the next backup."""
    call = run("backup", workspace, workspace.parent / place)
    assert call.code == 2
    assert "lies in the workspace itself" in call.err


def test_backup_replaces_nothing(workspace, tmp_path, run):
    """A file that is there stays as it is."""
    (tmp_path / "old.zip").write_text("old")
    assert run("backup", workspace, tmp_path / "old.zip").code == 2
    assert (tmp_path / "old.zip").read_text() == "old"


def test_a_full_disk_leaves_no_half_archive(workspace, tmp_path, run, monkeypatch):
    """The archive gets its name only when it is whole."""

    def full(*_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("pipelines.workspace.backup._add", full)
        call = run("backup", workspace, tmp_path / "backup.zip")
    assert call.code == 70
    assert "No backup was made" in call.err
    assert [path.name for path in tmp_path.glob("backup*")] == []


def test_a_backup_that_cannot_be_is_the_callers_matter(workspace, tmp_path, run):
    """A folder that is none, and a wait that is no number: exit code 2, and nothing is made."""
    call = run("backup", workspace, tmp_path / "none" / "backup.zip")
    assert (call.code, f"{tmp_path}/none: there is no such folder" in call.err) == (2, True)
    call = run("backup", workspace, tmp_path / "backup.zip", "--wait", "nan")
    assert (call.code, "--wait nan is no number of seconds" in call.err) == (2, True)
    assert [path.name for path in tmp_path.iterdir()] == ["workspace"]
