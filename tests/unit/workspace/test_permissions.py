"""Folders and files get the modes that the settings say, and never wider than the umask gives."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipelines.workspace import backup
from pipelines.workspace.create import create_workspace
from pipelines.workspace.layout import Workspace
from pipelines.workspace.permissions import (
    Readers,
    file_mode,
    folder_mode,
    open_private,
    private_umask,
    restrict,
    restrict_file,
    wider,
)


@pytest.fixture
def umask() -> Iterator[None]:
    """Puts the process's umask back."""
    before = os.umask(0o022)
    yield
    os.umask(before)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with everything too wide, too narrow, or executable, and a link that leads out."""
    top = tmp_path / "store"
    (top / "deep" / "deeper").mkdir(parents=True)
    for name, mode in (("a.txt", 0o666), ("deep/b.txt", 0o755), ("deep/deeper/c.txt", 0o600)):
        (top / name).write_text(name)
        (top / name).chmod(mode)
    (top / "deep").chmod(0o777)
    (top / "deep" / "deeper").chmod(0o700)
    top.chmod(0o755)
    outside = tmp_path / "outside.txt"
    outside.write_text("not ours")
    outside.chmod(0o666)
    (top / "link").symlink_to(outside)
    return top


def modes(folder: Path) -> tuple[set[int], set[int]]:
    """The modes of folders, and of files, that are no links."""
    there = [path for path in (folder, *folder.rglob("*")) if not path.is_symlink()]
    assert len(there) == 6
    folders = {stat.S_IMODE(path.stat().st_mode) for path in there if path.is_dir()}
    return folders, {stat.S_IMODE(path.stat().st_mode) for path in there if path.is_file()}


@pytest.mark.parametrize(
    ("readers", "mask", "of_folders", "of_files"),
    [
        ("group", 0o000, 0o750, 0o640),
        ("group", 0o022, 0o750, 0o640),
        ("group", 0o077, 0o700, 0o600),
        ("group", 0o037, 0o740, 0o640),
        ("owner", 0o000, 0o700, 0o600),
        ("owner", 0o022, 0o700, 0o600),
    ],
)
@pytest.mark.usefixtures("umask")
def test_modes_under_every_umask(
    folder: Path, readers: Readers, mask: int, of_folders: int, of_files: int
) -> None:
    """What was there gets its mode, whatever it had; what is made meanwhile is no wider."""
    os.umask(mask)
    assert (folder_mode(readers), file_mode(readers)) == (of_folders, of_files)
    assert list(wider([folder], readers))
    restrict([folder], readers)
    assert modes(folder) == ({of_folders}, {of_files})
    assert list(wider([folder], readers)) == []
    assert stat.S_IMODE((folder.parent / "outside.txt").stat().st_mode) == 0o666
    with private_umask(readers):
        (folder / "new").mkdir()
        (folder / "new" / "d.txt").write_text("d")
    assert list(wider([folder], readers)) == []
    assert os.umask(mask) == mask


@pytest.mark.usefixtures("umask")
def test_what_is_narrower_is_not_called_wider(folder: Path) -> None:
    """A file that only its owner reads is named nowhere; each that lets in others is."""
    restrict([folder], "group")
    (folder / "a.txt").chmod(0o600)
    assert list(wider([folder], "group")) == []
    (folder / "a.txt").chmod(0o644)
    assert list(wider([folder], "group")) == [folder / "a.txt"]
    restrict_file(folder / "a.txt", "owner")
    assert stat.S_IMODE((folder / "a.txt").stat().st_mode) == 0o600
    assert folder / "deep" in set(wider([folder], "owner"))


@pytest.mark.usefixtures("umask")
@pytest.mark.parametrize(("of_folder", "of_file"), [(0o750, 0o640), (0o700, 0o600), (0o755, 0o640)])
def test_a_log_is_no_wider_than_its_folder(folder: Path, of_folder: int, of_file: int) -> None:
    """Where the settings cannot be read the folder says who may."""
    os.umask(0)
    folder.chmod(of_folder)
    os.close(open_private(folder / "log", os.O_WRONLY | os.O_CREAT))
    assert stat.S_IMODE((folder / "log").stat().st_mode) == of_file


@pytest.mark.usefixtures("umask")
def test_a_backup_is_its_owners_from_its_first_byte(tmp_path: Path, monkeypatch) -> None:
    """Also while it is written, and under another name, and where the umask would let all in."""
    os.umask(0)
    create_workspace(tmp_path / "workspace")
    seen = []
    add = backup._add

    def look(archive, root, path):
        seen.append(stat.S_IMODE((tmp_path / "kept.zip.new").stat().st_mode))
        return add(archive, root, path)

    monkeypatch.setattr(backup, "_add", look)
    opened = Workspace.open(tmp_path / "workspace")
    (tmp_path / "kept.zip.new").write_text("left by a killed one")
    made = backup.write_backup(opened, "terms", tmp_path / "kept.zip")
    assert set(seen) == {0o600}
    assert len(seen) == made.files
    assert stat.S_IMODE((tmp_path / "kept.zip").stat().st_mode) == 0o600


def test_a_folder_that_is_not_there_is_passed_over(tmp_path: Path) -> None:
    """A first run has neither store nor pages."""
    restrict([tmp_path / "nothing"], "group")
    assert list(wider([tmp_path / "nothing"], "group")) == []
