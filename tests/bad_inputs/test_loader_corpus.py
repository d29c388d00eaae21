"""Files that once went wrong, or nearly, in the fuzz run over the loaders of TOML files."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]
CORPUS = sorted((TESTS / "cases" / "loader_corpus").glob("*.toml"))


@pytest.fixture(scope="module")
def fuzz():
    """The script of the fuzz run, whose own check is used."""
    path = TESTS / "benchmarks" / "fuzz_loaders.py"
    spec = importlib.util.spec_from_file_location("fuzz_loaders", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("path", CORPUS, ids=lambda path: path.stem)
def test_a_kept_file_ends_in_sentences(fuzz, tmp_path: Path, path: Path):
    """None of these loads, and each fault is one line that names the file."""
    name = path.stem.partition("_")[0]
    assert not fuzz.check(name, tmp_path, path.read_bytes(), 2)  # for water_tests


def test_a_sound_file_loads(fuzz, tmp_path: Path):
    """The check can pass: what the fuzz run starts from is sound."""
    assert len(fuzz.CHECKS) > 2
    for name in fuzz.CHECKS:
        for place, text in enumerate(fuzz.seeds_of(name)[: 2 if name == "settings" else 3]):
            assert fuzz.check(name, tmp_path, text.encode(), place), (name, place)
