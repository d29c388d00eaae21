"""The storage of parts in a folder: names by content, results after frames, and what is let go."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
from pathlib import Path

import polars as pl
import pytest

from pipelines.engine.part_storage import KEPT, PartStorage, parquet
from pipelines.errors import EngineError

pytest.importorskip("obstore", reason="the extra `cluster` is not installed")
FRAME = pl.DataFrame(
    {"serial": ["S1", None], "needs": [["delime"], []], "on": [dt.date(2026, 1, 1), None]}
)


@pytest.fixture
def storage(tmp_path: Path) -> PartStorage:
    """A storage in a folder that is made."""
    return PartStorage(str(tmp_path / "parts"))


def test_a_frame_is_named_by_its_bytes(storage: PartStorage, tmp_path: Path):
    """The same rows have one name and one file, which comes back type by type."""
    name = storage.put_frame(FRAME)
    assert storage.put_frame(FRAME.clone()) == name
    assert storage.put_frame(FRAME.reverse()) != name
    assert storage.frame(name).equals(FRAME)
    assert storage.frame(name).schema == FRAME.schema
    content = (tmp_path / "parts" / "frames" / f"{name}.parquet").read_bytes()
    assert hashlib.sha256(content).hexdigest() == name
    assert content == parquet(FRAME)


def test_a_result_counts_only_with_all_its_frames(storage: PartStorage, tmp_path: Path):
    """A result whose frame was taken away is worked out again."""
    name = storage.put_frame(FRAME)
    assert not storage.has_result("r")
    storage.put_result("r", {"units": name})
    assert storage.has_result("r")
    assert storage.result("r") == {"units": name}
    (tmp_path / "parts" / "frames" / f"{name}.parquet").unlink()
    assert not storage.has_result("r")


def test_a_damaged_frame_is_told(storage: PartStorage, tmp_path: Path):
    """What is not what its name says is never read."""
    name = storage.put_frame(FRAME)
    (tmp_path / "parts" / "frames" / f"{name}.parquet").write_bytes(parquet(FRAME.head(1)))
    with pytest.raises(EngineError, match=f"another content than it was given as frames/{name}"):
        storage.frame(name)


def test_a_storage_that_cannot_be_written_is_named(tmp_path: Path):
    """Exit code 70, and the sentence says which storage and the way out."""
    (tmp_path / "file").write_text("")
    with pytest.raises(EngineError) as caught:
        PartStorage(str(tmp_path / "file" / "parts")).put_frame(FRAME)
    assert caught.value.exit_code == 70
    assert f"The storage of parts {tmp_path}/file/parts cannot be read or written" in str(
        caught.value
    )
    assert "Store and pages are as they were" in str(caught.value)


def test_only_what_is_old_and_unused_goes(storage: PartStorage, tmp_path: Path):
    """Age is told from the newest file; what is used stays, and so does what is not ours."""
    names = [storage.put_frame(FRAME.head(rows)) for rows in (0, 1, 2)]
    storage.put_result("r", {})
    folder = tmp_path / "parts"
    strange = folder / "notes" / "mine.txt"
    strange.parent.mkdir()
    strange.write_text("mine")
    new = (folder / "frames" / f"{names[2]}.parquet").stat().st_mtime
    for path in [*(folder / "frames" / f"{one}.parquet" for one in names[:2]), strange]:
        os.utime(path, (new, new - KEPT.total_seconds() - 60))
    os.utime(folder / "results" / "r.json", (new, new - KEPT.total_seconds() + 60))
    assert storage.forget_old({names[0]}) == 1
    left = {path.stem for path in folder.rglob("*") if path.is_file()}
    assert left == {names[0], names[2], "r", "mine"}
