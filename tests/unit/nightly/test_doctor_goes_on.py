"""What cannot be looked at is a fault with its way out, and keeps the doctor from no other look."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipelines.errors import WorkspaceError
from pipelines.nightly.health.finding import Finding, looked
from pipelines.nightly.health.report import diagnose

CASES = Path(__file__).parents[2] / "cases" / "worked_claims" / "workspace"


@pytest.fixture
def workspace(tmp_path: Path) -> Path:
    """A workspace that was never refreshed, with the folders that a refresh makes."""
    folder = shutil.copytree(CASES, tmp_path / "workspace")
    (folder / "store" / "archive").mkdir(parents=True)
    return folder


@pytest.mark.parametrize("name", ["runs.jsonl", "refresh.lock"])
def test_a_folder_in_place_of_a_file_is_a_fault(workspace: Path, name: str) -> None:
    """The next refresh would fail on it; what else there is to say is said all the same."""
    (workspace / "store" / name).mkdir()
    found = diagnose(workspace)
    sentence = f"{workspace}/store/{name} is no file."
    assert ("fault", sentence, "Move it away.") in told(found.findings)
    assert found.exit_code == 2
    assert "Nothing has been decided here yet." in sentences(found.findings)


def test_a_file_in_place_of_the_archive_ends_no_other_look(workspace: Path) -> None:
    """The same thing, met by several looks, is told once."""
    (workspace / "store" / "archive").rmdir()
    (workspace / "store" / "archive").write_text("x")
    (workspace / "desk").write_text("x")
    found = diagnose(workspace).findings
    assert f"{workspace}/store/archive is no folder." in sentences(found)
    assert f"{workspace}/desk is no folder." in sentences(found)
    unread = f"{workspace}/store/archive/index.jsonl cannot be read (Not a directory)."
    assert sentences(found).count(unread) == 1


def test_a_database_without_a_byte_is_no_desk(workspace: Path) -> None:
    """A disk that ran full leaves such a file; nothing of it can be read."""
    (workspace / "desk").mkdir()
    (workspace / "desk" / "desk.sqlite").touch()
    found = diagnose(workspace)
    assert "Nothing has been decided here yet." in sentences(found.findings)
    assert "desk" not in {one.matter for one in found.findings}


@pytest.mark.parametrize(
    ("error", "sentence", "remedy"),
    [
        (
            PermissionError(13, "Permission denied", "ws/store"),
            "ws/store cannot be read (Permission denied).",
            "Give this user access to it, or move away what lies in its place.",
        ),
        (WorkspaceError("terms/ is missing."), "terms/ is missing.", ""),
    ],
)
def test_a_look_that_cannot_be_ended_keeps_what_it_found(
    error: Exception, sentence: str, remedy: str
) -> None:
    """First what it found, then why there is no more."""

    def look() -> Iterator[Finding]:
        yield Finding("note", "exports", "One is new.")
        raise error

    assert told(looked("exports", look())) == [
        ("note", "One is new.", ""),
        ("fault", sentence, remedy),
    ]


def test_inputs_that_cannot_be_read_end_no_other_look(
    workspace: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each fault of theirs is one of its own."""

    def refused(*_: object) -> Iterator[Finding]:
        yield from ()
        raise PermissionError(13, "Permission denied", "letters/letter.txt.j2")

    monkeypatch.setattr("pipelines.nightly.health.workspace_checks.input_findings", refused)
    said = sentences(diagnose(workspace).findings)
    assert "letters/letter.txt.j2 cannot be read (Permission denied)." in said
    assert "Nothing has been decided here yet." in said
    monkeypatch.undo()
    (workspace / "terms" / "W1.toml").write_text("")
    faults = [one.sentence for one in diagnose(workspace).findings if one.weight == "fault"]
    assert len(faults) > 3
    assert not [sentence for sentence in faults if "\n" in sentence]


def told(found: Iterator[Finding] | list[Finding]) -> list[tuple[str, str, str]]:
    """Weight, sentence and way out."""
    return [(one.weight, one.sentence, one.remedy) for one in found]


def sentences(found: list[Finding]) -> list[str]:
    """What is the case."""
    return [one.sentence for one in found]
