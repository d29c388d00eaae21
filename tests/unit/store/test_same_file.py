"""What is found out of a file holds until the file is another."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from pipelines.store.same_file import once_a_file


def test_it_is_looked_at_again_once_it_is_another_file(tmp_path: Path) -> None:
    """Replaced, written in place to the same length, or with other rights; else remembered."""
    path, looks = tmp_path / "store", []
    path.write_text("one")

    def find() -> str:
        looks.append(1)
        return path.read_text()

    def found() -> tuple[str, int]:
        return once_a_file(path, "text", find), len(looks)

    assert found() == ("one", 1)
    assert found() == ("one", 1)
    other = tmp_path / "other"
    other.write_text("two")
    other.replace(path)
    assert found() == ("two", 2)
    path.write_text("six")
    os.utime(path, ns=(1, 1))  # whatever the clock's grain
    assert found() == ("six", 3)
    path.chmod(0o600 if path.stat().st_mode & 0o077 else 0o644)
    assert found()[1] == 4
    assert once_a_file(path, "length", lambda: len(path.read_text())) == 3


def test_nothing_and_errors_are_not_remembered(tmp_path: Path) -> None:
    """What could not be found is looked for again."""
    path, answers = tmp_path / "store", [False, OSError("held"), True]
    path.write_text("x")

    def find() -> bool:
        answer = answers.pop(0)
        if isinstance(answer, OSError):
            raise answer
        return answer

    assert once_a_file(path, "sound", find) is False
    with pytest.raises(OSError):
        once_a_file(path, "sound", find)
    assert once_a_file(path, "sound", find) is True
    assert once_a_file(path, "sound", find) is True
    assert answers == []
