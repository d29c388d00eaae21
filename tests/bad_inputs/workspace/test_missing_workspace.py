"""A folder that is no workspace is said to be so, with the way to make one."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from pipelines.errors import WorkspaceError
from pipelines.store.inputs import load_inputs
from pipelines.workspace.create import create_workspace
from pipelines.workspace.layout import Workspace


def told(folder: Path) -> str:
    """What opening the folder complains of."""
    with pytest.raises(WorkspaceError) as caught:
        Workspace.open(folder)
    assert caught.value.exit_code == 2
    return str(caught.value)


def test_a_folder_that_is_not_there(tmp_path: Path):
    """The path is repeated, and the command that makes a workspace named."""
    folder = tmp_path / "nowhere"
    assert f"{folder}: there is no such folder" in told(folder)
    assert f"`limeledger new {folder}`" in told(folder)


def test_a_file_instead_of_a_folder(tmp_path: Path):
    """A file is no workspace."""
    path = tmp_path / "units.csv"
    path.touch()
    assert told(path) == f"{path} is a file; name the folder of a workspace."


def test_an_empty_folder(tmp_path: Path):
    """Without settings a folder is no workspace."""
    assert f"{tmp_path}: limeledger.toml is missing" in told(tmp_path)
    assert "`limeledger new FOLDER`" in told(tmp_path)


def test_no_exports_folder(tmp_path: Path):
    """The folder that the exports go into is named."""
    (tmp_path / "limeledger.toml").touch()
    assert told(tmp_path) == (
        f"{tmp_path}: the folder exports/ is missing; make it and put the CSV exports there."
    )


def test_two_folders_of_one_name(tmp_path: Path):
    """Names match in any case, so two that differ only by case cannot be told apart."""
    (tmp_path / "limeledger.toml").touch()
    (tmp_path / "exports").mkdir()
    for name in ("Reference", "REFERENCE"):
        (tmp_path / name).mkdir()
    if len(os.listdir(tmp_path)) < 4:
        pytest.skip("this file system does not tell letter case")
    assert "REFERENCE and Reference have one name in other letters; keep one." in told(tmp_path)


def linked(tmp_path: Path, name: str, *, is_folder: bool = True) -> Path:
    """A new workspace in which one part is a link to the same part outside of it."""
    folder, outside = tmp_path / "workspace", tmp_path / "outside"
    create_workspace(folder)
    (folder / name).rename(outside)
    (folder / name).symlink_to(outside, target_is_directory=is_folder)
    return folder


@pytest.mark.parametrize("name", ["limeledger.toml", "exports", "mappings", "reference"])
def test_a_part_that_is_a_link_out_of_the_workspace(tmp_path: Path, name: str):
    """What lies elsewhere is neither read nor backed up; the link is named."""
    folder = linked(tmp_path, name, is_folder="." not in name)
    assert told(folder) == (
        f"{name} is a link that leads out of the workspace; put the file or folder itself there."
    )


@pytest.mark.parametrize("name", ["terms", "terms/example-edition.toml", "reference/models.csv"])
def test_an_input_that_is_a_link_out_of_the_workspace(tmp_path: Path, name: str):
    """Terms and reference files are read from the workspace alone."""
    folder = linked(tmp_path, name, is_folder="." not in name)
    with pytest.raises(WorkspaceError) as caught:
        load_inputs(folder)
    assert "is a link that leads out of the workspace" in str(caught.value)
    assert str(caught.value).startswith(name.partition("/")[0])


def test_links_that_stay_inside_are_followed(tmp_path: Path):
    """A link from one part of the workspace to another is no way out."""
    folder = tmp_path / "workspace"
    create_workspace(folder)
    (folder / "terms").rename(folder / "rules")
    (folder / "terms").symlink_to("rules", target_is_directory=True)
    assert load_inputs(folder).terms is not None


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("mappings", "mappings is no folder, or a link that leads nowhere; put the folder there"),
        ("letters", "letters is no folder, or a link that leads nowhere; put the folder there"),
        ("reference/aliases.csv", "reference/aliases.csv is missing; put the file there."),
        ("letters/letter.txt.j2", "letters/letter.txt.j2 cannot be read (No such file or direc"),
    ],
)
def test_a_link_to_nowhere_is_not_taken_for_nothing(tmp_path: Path, name: str, words: str):
    """A disk that is not mounted would else change, unseen, what is decided and written."""
    folder = tmp_path / "workspace"
    create_workspace(folder)
    (folder / "mappings").rmdir()
    (folder / name).parent.mkdir(exist_ok=True)
    (folder / name).unlink(missing_ok=True)
    (folder / name).symlink_to("not-mounted")
    with pytest.raises(WorkspaceError) as caught:
        load_inputs(folder)
    assert words in str(caught.value)


def test_a_file_in_place_of_the_mappings_is_told(tmp_path: Path):
    """As none they would set every file aside, or read it otherwise."""
    folder = tmp_path / "workspace"
    create_workspace(folder)
    (folder / "mappings").rmdir()
    (folder / "mappings").write_text("x")
    with pytest.raises(WorkspaceError, match="mappings is no folder"):
        load_inputs(folder)
