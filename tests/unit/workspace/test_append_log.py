"""Rows are added to a file of people's words all or none, also where the disk takes no more."""

import errno
import os
import resource
from pathlib import Path

import pytest

from pipelines.workspace.append_log import append_rows

COLUMNS = ["claim", "reason"]


def _row(claim: str) -> dict[str, str]:
    return {"claim": claim, "reason": 'seen, and "kept"'}


def test_the_header_comes_once_and_rows_in_their_order(tmp_path: Path):
    """Two calls give one header and both rows; what had been let in may read it still."""
    path = tmp_path / "rulings.csv"
    append_rows(path, COLUMNS, [_row("A")])
    path.chmod(0o664)
    append_rows(path, COLUMNS, [_row("B"), _row("C")])
    lines = path.read_text().splitlines()
    assert lines == ["claim,reason", *(f'{claim},"seen, and ""kept"""' for claim in "ABC")]
    assert path.stat().st_mode & 0o777 == 0o664
    assert list(tmp_path.iterdir()) == [path]


def test_no_half_row_is_left_where_the_disk_takes_only_half(tmp_path: Path):
    """A real write is cut off in the middle of the row, and then the file is as it was."""
    path = tmp_path / "rulings.csv"
    append_rows(path, COLUMNS, [_row("A")])
    before = path.read_bytes()
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (len(before) + 8, limits[1]))
    try:
        with pytest.raises(OSError, match=os.strerror(errno.EFBIG)):
            append_rows(path, COLUMNS, [_row("B")])
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]
    append_rows(path, COLUMNS, [_row("B")])
    assert path.read_bytes().startswith(before)
    assert len(path.read_text().splitlines()) == 3


def test_what_a_killed_command_left_is_not_taken_over(tmp_path: Path):
    """A half-written file under the other name goes, whether or not there was one before."""
    path = tmp_path / "rulings.csv"
    for claims in (["A"], ["A", "B"]):
        (tmp_path / "rulings.csv.new").write_text("half a ro")
        append_rows(path, COLUMNS, [_row(claims[-1])])
        assert [line[0] for line in path.read_text().splitlines()[1:]] == claims
