"""Packed files: the same bytes behind one name, whatever the number of members."""

import gzip

import pytest

from pipelines.store import packing


@pytest.mark.parametrize("size", [0, 1, 999, 1000, 1001, 25_000])
def test_a_packed_file_holds_the_bytes_in_their_order(tmp_path, monkeypatch, size):
    """Members are joined in the order of the file; the plain file is gone."""
    monkeypatch.setattr(packing, "_MEMBER_BYTES", 1000)
    told = bytes(place // 7 % 256 for place in range(size))
    plain, packed = tmp_path / "notes.csv", tmp_path / "notes.csv.gz"
    plain.write_bytes(told)
    packing.pack(plain, packed)
    assert gzip.decompress(packed.read_bytes()) == told
    assert not plain.exists()


def test_the_same_bytes_give_the_same_file(tmp_path):
    """No time of writing and no name stands in a packed file."""
    for name in ("one", "other"):
        (tmp_path / name).write_bytes(b"serial\n" * 5000)
        packing.pack(tmp_path / name, tmp_path / f"{name}.gz")
    assert (tmp_path / "one.gz").read_bytes() == (tmp_path / "other.gz").read_bytes()
